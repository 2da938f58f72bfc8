"""A browser without script: reads the forms of a page as a person would send them."""

import re
import secrets
from collections import deque
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl

from fastapi.testclient import TestClient
from httpx2 import Response


@dataclass
class PageForm:
    """A form as the page shows it: where it goes and what stands in it."""

    action: str
    fields: dict[str, str] = field(default_factory=dict)
    described: dict[str, str] = field(default_factory=dict)
    choices: dict[str, set[str]] = field(default_factory=dict)
    answers: dict[str, tuple[str, str]] = field(default_factory=dict)

    def answered(self, words: str) -> dict[str, str]:
        """What is sent when the button is pressed that answers a question with these words."""
        name, text = self.answers[words]
        return {**self.fields, name: text}


NEVER_CLOSED = {"input", "link", "meta", "br", "hr", "img", "path", "line", "rect", "circle"}


class Page(HTMLParser):
    """The forms of a page by their id, and the text of each element that has an id."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: dict[str, PageForm] = {}
        self._form: PageForm | None = None
        self._select = self._area = ""
        self._answer: tuple[str, str] | None = None
        self._tags: list[str] = []
        self._parts: list[list[str] | None] = []
        self._inside: list[list[str]] = []
        self._said: dict[str, list[str]] = {}
        self.feed(html)
        self.texts = {identity: "".join(parts) for identity, parts in self._said.items() if parts}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        a = {name: value or "" for name, value in attrs}
        if tag not in NEVER_CLOSED:
            identity = a.get("id", "")
            parts = self._said.setdefault(identity, []) if identity else None
            self._tags.append(tag)
            self._parts.append(parts)
            if parts is not None:
                self._inside.append(parts)
        if tag == "form":
            self._form = self.forms.setdefault(a.get("id", a["action"]), PageForm(a["action"]))
        if self._form is None:
            return
        name = a.get("name", "")
        if name and "aria-describedby" in a:
            self._form.described[name] = a["aria-describedby"]
        if tag == "input" and name and a.get("type") == "radio":
            self._form.choices.setdefault(name, set()).add(a["value"])
        if tag == "input" and name and (a.get("type") not in ("checkbox", "radio") or "checked" in a):
            self._form.fields[name] = a.get("value", "on")
        elif tag == "select":
            self._select = name
            self._form.fields[name] = ""
            self._form.choices[name] = set()
        elif tag == "option" and self._select:
            self._form.choices[self._select].add(a["value"])
            if "selected" in a:
                self._form.fields[self._select] = a["value"]
        elif tag == "button" and name.startswith("meant."):
            self._answer = name, a["value"]
        elif tag == "textarea":
            self._area = name
            self._form.fields[name] = ""

    def handle_endtag(self, tag: str) -> None:
        while tag in self._tags:  # a shape of a drawing was never opened here, and closes nothing
            if self._parts.pop() is not None:
                self._inside.pop()
            if self._tags.pop() == tag:
                break
        if tag == "form":
            self._form = None
        self._answer = None if tag == "button" else self._answer
        self._select = "" if tag == "select" else self._select
        self._area = "" if tag == "textarea" else self._area

    def handle_data(self, data: str) -> None:
        for parts in self._inside:
            parts.append(data)
        if self._answer and self._form is not None:
            self._form.answers[data.strip()] = self._answer
        if self._area and self._form is not None:
            self._form.fields[self._area] += data

    def fault(self, name: str, form_id: str = "form") -> str:
        """The message tied to a field by aria-describedby; empty when there is none."""
        tied = self.forms[form_id].described.get(name, "").split()
        return " ".join(self.texts[i].strip() for i in tied if i.endswith("-error"))


class Person(TestClient):
    """A browser without script, as tests use it: what a page's form hides goes with what a test types into it."""

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._seen: deque[str] = deque(maxlen=4)
        self._used: set[str] = set()

    def send(self, request: Any, **more: Any) -> Response:
        """Ask, and remember the pages that came."""
        answer = super().send(request, **more)
        for one in (*answer.history, answer):
            if one.headers.get("content-type", "").startswith("text/html"):
                self._seen.append(one.text)
        return answer

    def post(self, url: Any, *, data: Any = None, **more: Any) -> Response:
        """Send a form; where the test names no token, with the token and version that the form's page shows."""
        if "json" not in more and "content" not in more and "once" not in (data or {}):
            data = {**self._hidden(str(url)), **(data or {})}
        self._used.add((data or {}).get("once", ""))
        return super().post(url, data=data, **more)

    def _hidden(self, url: str) -> dict[str, str]:
        address, _, query = url.partition("?")
        if address == "/drafts":
            address = dict(parse_qsl(query)).get("page", "")
        for page in reversed(self._seen):
            if (found := _hidden_in(page, address)) and found["once"] not in self._used:
                return found
        above = address
        while above.count("/") > 1 or above == address != "":
            if found := _hidden_in(self.get(above).text, address):
                return found
            above = above.rpartition("/")[0]
        return {"once": secrets.token_urlsafe(18)}  # no page shows this form now


def _hidden_in(page: str, action: str) -> dict[str, str] | None:
    begins = re.search(rf'<form\b[^>]*\saction="{re.escape(action)}"', page)
    if begins is None:
        return None
    form = page[begins.start() : page.index("</form>", begins.start())]  # the rest of the page need not be read
    found = next((one.fields for one in Page(form).forms.values() if one.action == action), None)
    return found and {name: found[name] for name in ("once", "version") if name in found}


def opened(client: TestClient, url: str) -> Page:
    """A page, read."""
    answer = client.get(url)
    assert answer.status_code == 200, answer.text
    return Page(answer.text)


def send(client: TestClient, url: str, typed: dict[str, str] | None = None, form_id: str = "form") -> Response:
    """Open a page, type into one of its forms and send it; the answer is not followed."""
    form = opened(client, url).forms[form_id]
    return client.post(form.action, data={**form.fields, **(typed or {})}, follow_redirects=False)


def saved(client: TestClient, url: str, typed: dict[str, str] | None = None, form_id: str = "form") -> str:
    """Send a form that must be accepted; gives the address the answer leads to."""
    answer = send(client, url, typed, form_id)
    assert answer.status_code == 303, Page(answer.text).texts.get("main", answer.text)
    return str(answer.headers["location"])


def refused(client: TestClient, url: str, typed: dict[str, str], form_id: str = "form") -> Page:
    """Send a form that must be refused; gives the page with its faults, and checks that it kept what was typed."""
    answer = send(client, url, typed, form_id)
    assert answer.status_code == 422, answer.status_code
    page = Page(answer.text)
    form = page.forms[form_id]
    for name, text in typed.items():
        if name in form.fields and text in form.choices.get(name, {text}):
            assert form.fields[name].strip() == text.strip(), name
    return page
