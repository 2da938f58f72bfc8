"""The words on every page of the demonstration book: which fields say that they are optional, and plain words."""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient

from app.forms import marks
from app.main import create_app
from app.settings import Settings
from tests import addresses
from tests.behind import browser_of, copied_with_files, engine_of
from tests.tree import Node, tree


@pytest.fixture(scope="module")
def client(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    book = tmp_path_factory.mktemp("words") / "book.sqlite3"
    copied_with_files(demo_book, book)
    with browser_of(create_app(Settings(book=book))) as client:
        addresses.complete(engine_of(client))
        yield client


@pytest.fixture(scope="module")
def pages(client: TestClient) -> dict[str, Node]:
    """Every page, walked once for all that is looked at here."""
    rows = addresses.rows(engine_of(client))
    return {path: tree(client.get(path).text) for address in addresses.pages() for path in [address.format(**rows)]}


# --- Optional, or needed ----------------------------------------------------------------------


SIGNED = "/sign"
"""There a name or place is typed only instead of the button or the tick that has it."""


def _asked(field: Node, form: Node) -> bool:
    """Whether a field is shown while the form stands as it was drawn: by its class and the choice that stands."""
    for one in (field, *field.above()):
        for said in re.finditer(r"\b(when|unless)-(\w+)-([\w-]+)", one.attrs.get("class", "")):
            chosen = [
                option.attrs["value"] or "none"
                for select in form.all("select")
                if select.attrs["name"] == said[2]
                for option in select.all("option")
                if "selected" in option.attrs
            ] or ["none"]
            if (chosen[0] in said[3].split("-")) == (said[1] == "unless"):
                return False
    return True


def _without_kind(box: Node, control: Node) -> bool:
    """Whether a field is neither needed nor optional: a choice that always stands on something, of a row of a list, or
    one at arm's length, which is the page's own question and has only its label; what is folded behind it is marked.
    """
    around = [one.attrs.get("class", "").split() for one in box.above()]
    always = (
        control.tag == "select"
        and "required" not in control.attrs
        and all(o.attrs["value"] for o in control.all("option"))
    )
    return (
        always
        or "." in control.attrs["name"]
        or (any({"entry", "beside"} & set(of) for of in around) and not any("sizes" in of for of in around))
    )


def _fields(form: Node) -> list[tuple[str, Node]]:
    """The label and the control of each field that a form asks for, ticks and columns of tables left out."""
    found = []
    for box in form.all("div"):
        if not box.has("field") or not _asked(box, form):
            continue
        controls = [
            one for one in box.all("input", "select", "textarea") if one.attrs.get("type") not in ("checkbox", "radio")
        ]
        labels = [one for one in box.all("label") if not one.has("visually-hidden") and not one.has("check")]
        if len(controls) == 1 and labels and "name" in controls[0].attrs and not _without_kind(box, controls[0]):
            found.append((labels[0].text(), controls[0]))
    return found


def _marked_wrong(form: Node) -> str:
    """What is wrong with the marks of a form; "" where they stand on the fewer of the two kinds."""
    found = _fields(form)
    needed = [label for label, control in found if "required" in control.attrs]
    optional = [label for label, control in found if "required" not in control.attrs]
    head = [words for words in (marks.REST, marks.ALL) if words in form.text()]
    if not needed and form.attrs.get("method") == "get":  # a filter above a list
        right = not head and not any(label.endswith(")") for label in optional)
    elif len(optional) > len(needed) and len(found) > 1:
        right = (
            head == [marks.REST if needed else marks.ALL]
            and all(label.endswith("(needed)") for label in needed)
            and not any("(optional)" in label for label in optional)
        )
    else:
        right = (
            head == []
            and all(label.endswith("(optional)") for label in optional)
            and not any("(needed)" in label for label in needed)
        )
    return "" if right else f"{needed} {optional} {head}"


def test_optional_stands_on_the_fewer_of_the_two_kinds_of_field(pages: dict[str, Node]) -> None:
    forms = [
        (path, form)
        for path, page in pages.items()
        for form in page.all("form")
        if _fields(form) and not path.endswith(SIGNED)
    ]
    assert len({form.attrs.get("action", "") for _, form in forms}) > 50
    found = [f"{path}: {wrong}" for path, form in forms if (wrong := _marked_wrong(form))]
    assert found == []
    kinds = {"(optional)" in form.text() for _, form in forms}, {marks.REST in form.text() for _, form in forms}
    assert kinds == ({True, False}, {True, False})


def test_what_is_marked_needed_is_what_an_empty_form_is_refused_for(client: TestClient, pages: dict[str, Node]) -> None:
    """The mark and the check are asked apart: each form is sent with all of its fields empty, and saves nothing."""
    looked, wrong = set(), {}
    for path, page in pages.items():
        for form in page.all("form"):
            needed = {control.attrs["id"] for _, control in _fields(form) if "required" in control.attrs}
            action = form.attrs.get("action", "")
            if (
                not needed or action in looked or action.endswith(("#in-a-rocket", SIGNED))
            ):  # there, empty asks for nothing, or for a button
                continue
            looked.add(action)
            hidden = [one for one in form.all("input") if one.attrs.get("type") == "hidden"]
            typed = {one.attrs["name"]: one.attrs.get("value", "") for one in hidden}
            typed |= {
                c.attrs["name"]: next((o.attrs["value"] for o in c.all("option") if "selected" in o.attrs), "")
                if "required" not in c.attrs
                else ""
                for _, c in _fields(form)
            }
            if form.attrs.get("method") == "get":
                answer = client.get(urlsplit(action).path or path, params=typed)
            else:
                answer = client.post(action, data=typed, follow_redirects=False)
            shown = tree(answer.text)
            faults = {
                a.attrs["href"][1:]
                for a in shown.all("a")
                if a.attrs.get("href", "").startswith(f"#{form.attrs['id']}-")
            }
            optional = {control.attrs["id"] for _, control in _fields(form)} - needed
            if answer.status_code != 422 or needed - faults or optional & faults:
                wrong[action] = (answer.status_code, needed - faults, optional & faults)
    assert wrong == {}
    assert len(looked) > 30


# --- Plain words ------------------------------------------------------------------------------

OLD = re.compile(
    r"may stay empty|\bnot told\b"
    r"|take (?:it|them|(?:the|these|this) \w+) (?:along|away)"
    r"|\bleave it\b(?! (?:empty|marked|ticked))"
    r"|\btak(?:e|en|es|ing) (?:(?:it|them|the \w+|this \w+) )?back\b|\bkeep the (?:note|reading|mass|air|time)\b",
    re.IGNORECASE,
)
"""What stood for optional, unknown, export, cancel, undo and save before those words did."""


def test_no_page_says_in_words_of_its_own_what_the_web_has_a_word_for(pages: dict[str, Node]) -> None:
    said = [
        f"{path}: …{words[m.start() - 30 : m.end() + 30]}"
        for path, page in pages.items()
        for words in [page.text(("script", "style"))]
        for m in OLD.finditer(words)
    ]
    assert said == []
