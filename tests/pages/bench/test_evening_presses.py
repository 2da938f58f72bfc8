"""How many presses a whole evening takes, walked page by page as a person walks it, without a browser.

What is pressed must be offered once by the page that is there, and not be folded away; a press of a button or a link
counts, and so does opening what is folded. A line of the safety list and what is typed are counted apart. The same for
one melt by touch: `tests/browser/test_evening_clicks.py`.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import select

from app import clock
from app.db import writing
from app.models import CastSession, CastStep, GrainPattern
from app.services.book import workshop
from app.services.hardware import shapes
from app.services.stock import batches, formulas
from tests import build
from tests.behind import engine_of
from tests.browse import Page
from tests.moment import wall

EVENING = wall("2026-11-25T15:00")
MINUTE = timedelta(minutes=1)
CODES = ["2611P", "2611Q", "2611R", "2611S"]
Turn = Callable[[datetime], None]


@dataclass
class Target:
    """Something to press: a link with its address, or a button with its form and what it sends."""

    address: str
    form: str = ""
    sends: tuple[str, str] = ("", "")
    words: str = ""
    folded: int = 0


class Offered(HTMLParser):
    """What a page's main part offers to be pressed, and what of it is folded away."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.targets: list[Target] = []
        self._open: Target | None = None
        self._form, self._folded, self._main = ("", ""), list[bool](), False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        a = {name: value or "" for name, value in attrs}
        self._main = self._main or tag == "main"
        if tag == "details":
            self._folded.append("open" not in a)
        elif tag == "form":
            self._form = a["action"], a.get("id", a["action"])
        elif tag == "summary":
            self._open = Target("", folded=sum(self._folded[:-1]))
        elif tag == "a" and "href" in a:
            self._open = Target(a["href"], folded=sum(self._folded))
        elif tag == "button" and "visually-hidden" not in a.get("class", ""):
            sends = a.get("name", ""), a.get("value", "")
            self._open = Target(*self._form, sends, folded=sum(self._folded))

    def handle_data(self, data: str) -> None:
        if self._open is not None:
            self._open.words += data

    def handle_endtag(self, tag: str) -> None:
        if tag in ("a", "button", "summary") and self._open is not None:
            self._open.words = " ".join(self._open.words.split())
            if self._main:
                self.targets.append(self._open)
            self._open = None
        elif tag == "details":
            self._folded.pop()
        self._main = self._main and tag != "main"


class Walker:
    """A person at the bench, who presses what the page in front offers."""

    def __init__(self, client: TestClient, turn: Turn) -> None:
        self.client, self.turn, self.pressed, self.typed, self.lines = client, turn, list[str](), 0, 0
        self.unfolded = set[str]()
        self.html = self.url = ""

    def look(self, url: str) -> None:
        """The page as it is now: looking is no press."""
        self._show(self.client.get(url))

    def _show(self, answer: Response) -> None:
        assert answer.status_code == 200, (
            self.pressed[-3:],
            re.findall(r'role="alert".*?</div>|class="error".*?</p>', answer.text, re.DOTALL),
        )
        self.html, self.url = answer.text, str(answer.url)
        self.unfolded.clear()

    def has(self, words: str) -> bool:
        """Whether such a thing is in view."""
        return bool(self._found(words))

    def _found(self, words: str) -> list[Target]:
        most = len(self.unfolded)
        return [t for t in Offered(self.html).targets if re.fullmatch(words, t.words) and t.folded <= most]

    def press(self, words: str, counts: bool = True, **typed: str) -> None:
        """Press the one thing that the page offers by these words, with what was typed into its form."""
        (target,) = self._found(words)
        self.typed += len(typed)
        if counts:
            self.pressed.append(target.words)
        if not target.address:
            self.unfolded.add(target.words)
        elif not target.form:
            self.look(urljoin(self.url, target.address))
        else:
            form = Page(self.html).forms[target.form]
            assert set(typed) <= set(form.fields), (target.words, typed, form.fields)
            sent = {**form.fields, **typed, **({target.sends[0]: target.sends[1]} if target.sends[0] else {})}
            self._show(self.client.post(target.address, data=sent))
            self.turn(clock.now() + MINUTE / 2)

    def to_pull(self) -> bool:
        """Whether cores of some melt are to be pulled yet."""
        with writing(engine_of(self.client)) as session:
            pulls = session.exec(select(CastStep).where(CastStep.key == "pull")).all()
            return any(step.done_at is None for step in pulls)

    def wait(self) -> None:
        """Until what is in front comes due."""
        due = re.search(r'data-due="([^"]+)"', self.html.partition('class="front"')[2])
        assert due is not None, (
            self.pressed[-4:],
            re.findall(r'data-live class="[^"]*"|<h2.*?</h2>|<p class="told".*?</p>', self.html),
        )
        self.turn(datetime.fromisoformat(due[1]))
        self.look("/bench/1")


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(EVENING, runs=True) as further:
        yield further


@pytest.fixture
def walker(client: TestClient, turn: Turn) -> Walker:
    """The evening of four melts of two grains each, its first one about to be let in by the whole list."""
    with writing(engine_of(client)) as session:
        workshop.get(session).person = "Ada"
        for _ in CODES:
            build.stock(session, build.batch(session, 2, planned_for="2026-11-25"))
        session.commit()
    walker = Walker(client, turn)
    walker.look(f"/plan/{CODES[0]}/checklist")
    return walker


def through_the_list(walker: Walker) -> None:
    """The lines at hand, counted apart; the last one leads to the signature, or offers it."""
    while walker.has("Done"):
        form = Page(walker.html).forms["line"]
        blanks = {name: "3" for name in form.fields if name not in ("once", "version", "reason", "answer")}
        walker.press("Done", counts=False, **blanks)
        walker.lines += 1


def of_grain(client: TestClient, code: str, share: float) -> str:
    """What the scale reads of a grain so dense [g]."""
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, code)
        shape = session.get_one(GrainPattern, lot.items[0].pattern_id)
        ideal = formulas.ideal_density(formulas.get(session, lot.formula_id))
        return f"{share * ideal * shapes.volume(shape) * 1000:.1f}"


def targets(client: TestClient) -> dict[str, str]:
    """The target of each bowl, as its form's address names it."""
    with writing(engine_of(client)) as session:
        lots = [batches.by_code(session, code) for code in CODES]
        return {f"bowl-{part.pk}": f"{part.target_kg * 1000:.1f}" for lot in lots for part in lot.parts}


@pytest.mark.promise(
    "An evening of four melts takes few presses, its grains weighed and its pans read", figure="at most 100"
)
def test_an_evening_of_four_melts_takes_at_most_a_hundred_presses(client: TestClient, walker: Walker) -> None:
    """From the beginning of the whole list to the closing; the bags are left for the next day, with a reason."""
    bowls, read, of_melt = targets(client), set[str](), Counter[str]()
    walker.press("Start the checklist")
    through_the_list(walker)
    walker.press("To the signature")
    walker.press("Sign as Ada", place="Shed")
    walker.press("Open the cast session")
    while True:
        before, url = len(walker.pressed), walker.url
        code = (re.search(r"26\d\d[P-S]", walker.url) or re.search(r"(?<=<h1>)26\d\d[P-S]", walker.html) or [""])[0]
        front = (re.search(r'data-front="([^"]+)"', walker.html) or ["", ""])[1]
        kind = (re.search(r'id="bench" data-live class="is-(\w+)"', walker.html) or ["", ""])[1]
        if "/checklist" in url:
            through_the_list(walker)
            walker.press("Sign as Ada and join")
        elif "/grains" in url:
            for share in (0.96, 0.957):
                walker.press("Weigh it", gross=of_grain(client, code, share))
            walker.press("Accept all 2")
            walker.press("Back to the bench")
        elif kind == "bowl":
            walker.press("Weighed", mass=bowls[front])
        elif kind == "step" and walker.has("Stirred in") and code not in read:
            walker.press("Read", temperature="118")
            read.add(code)
        elif kind == "step":
            (do,) = re.findall(r"<button[^>]* data-do[^>]*>([^<]+)</button>", walker.html)
            walker.press(do)
        elif kind == "grains":
            walker.press("Weigh grains")
        elif walker.has("Next melt .*"):
            walker.press("Next melt .*")
        elif read == set(CODES) and not walker.to_pull():
            break
        else:
            walker.wait()
        of_melt[code] += len(walker.pressed) - before
    walker.press("More")
    walker.press("Close the evening")
    for _ in CODES:
        walker.press("Save the mass", test_pieces="10 g")
    walker.press("Close the evening", why="They are bagged tomorrow, when they are cold.")
    told = f"{len(walker.pressed)} presses: {dict(of_melt)}, {walker.typed} fields, {walker.lines} lines"
    print(told)
    assert len(walker.pressed) <= 100, (told, walker.pressed)
    with writing(engine_of(client)) as session:
        evening = session.get_one(CastSession, 1)
        assert evening.closed_at is not None
        assert [melt.number for melt in evening.melts] == [1, 2, 3, 4]
        assert all(s.done_at or s.key == "bag" for melt in evening.melts for s in melt.steps)
