"""Every page of the demonstration book in one system of units: in US units nothing speaks metric, and the other way."""

import json
import re
from collections import Counter
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode, urljoin, urlsplit

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text

from app.db import writing
from app.main import create_app
from app.models import Workshop
from app.models.workshop import SYSTEMS, UNIT_FIELDS
from app.settings import Settings
from tests.behind import browser_of, copied_with_files, engine_of
from tests.browse import Page

EACH = 1
"""Pages looked at of each kind of address; a kind is its path with codes and numbers left out."""

_METRIC_SIGNS = (
    r"mm|cm|km|kg|MPa|kPa|hPa|mbar|m/s|km/h|mm/s|N·s|°C|cm³|mm³|m³|mm²|cm²|g/cm³|kg/m³|kg/\(m²·s\)|kelvins?|metres?|"
    r"millimetres?|grams?|kilograms?"
)
_US_SIGNS = r"in²|in³|in/s|psi|°F|mph|lbf|lbf·s|lb/in³|ft/s|inHg|lbs?|oz|inch|inches|foot|feet|pounds?|ounces?"
_METRIC_BEHIND = r"m|g|N|K|bar|Pa|l|ml"
_US_BEHIND = r"in(?=[.,;:)]|$)|ft"


def _search(signs: str, behind: str) -> re.Pattern[str]:
    """A sign that is no word by itself, or one behind a number, or one at the end of a head such as “Left, g”."""
    return re.compile(
        rf"(?<![\w/°·²³])(?:{signs})(?![\w/²³°·])|(?<=\d)[ \u00a0\u202f]?(?:{signs}|{behind})(?![\w/²³°·'’-])"
        rf"|, (?:{behind})$"
    )


FOREIGN = {"US": _search(_METRIC_SIGNS, _METRIC_BEHIND), "Metric": _search(_US_SIGNS, _US_BEHIND)}

TYPED = {
    "note",
    "name",
    "words",
    "title",
    "why",
    "reason",
    "decision_why",
    "case_words",
    "closure_words",
    "nozzle_words",
    "remains_words",
    "delay_words",
    "law_source",
    "rules",
    "heading",
    "place",
    "person",
    "source",
    "mark",
    "failure_words",
}
"""Columns of texts as people typed them, beside those called `…_typed`."""

HEADS = ["Pressure (MPa)", "Thrust (N)", "Time (s)"]
"""Heads of the columns in the demonstration's files, as its loggers wrote them."""

LEFT = {"/help/api": "the interface is SI, and says so", "/static": "no page"}

PRINTED = re.compile(r"14 CFR 101\.22: [^.]*\.|[\d,]+ ft \([\d,.]+ m\)|m/s \(20 mph\)|column \d+ in \w+")
"""Figures that stand so in a law, in clubs' codes and in the associations' tables, beside the workshop's own unit; and
what a column of a logger's file is in."""

# At a hot pan (`/cast/…`) the book speaks degrees as its thermometer was last read, whatever the workshop's system.

CHOICES = re.compile(r"/workshop/settings|/firings/[^/]+/(?:curve|altimeter)/")
"""Pages whose lists offer units: the settings, and the files of loggers, which write what they like."""


class _Texts(HTMLParser):
    """The text nodes that say something, and the addresses that a page leads to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self.choices: list[str] = []
        self._silent = 0
        self._inside = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self._inside = tag
        if tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))
        if tag in ("script", "style", "kbd", "textarea"):  # kbd: what may be typed, in any unit
            self._silent += 1
        self.texts += [str(given[name]) for name in ("aria-label", "title", "placeholder") if given.get(name)]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "kbd", "textarea"):
            self._silent -= 1

    def handle_data(self, data: str) -> None:
        if not self._silent and data.strip():
            (self.choices if self._inside == "option" else self.texts).append(" ".join(data.split()))


def _shape(address: str) -> str:
    """An address without codes, numbers and what was asked for."""
    path, _, query = address.partition("?")
    return re.sub(r"/[^/]*\d[^/]*", "/*", path) + "?" + ",".join(sorted(set(re.findall(r"(\w+)=", query))))


def _asked(client: TestClient) -> list[str]:
    """Answers of forms that save nothing: a design worked out and flown, a motor flown, a core off centre."""
    design = Page(client.get("/motors/design").text).forms["design"].fields
    crooked = Page(client.get("/motors/coring").text).forms["coring"].fields
    built = next(link for link in _Texts(client.get("/motors").text).links if re.search(r"/motors/\w*\d", link))
    motor = {"formula_id": "1", "pattern_id": "1", "case_id": "1", "nozzle_id": "1"}
    place = {"rocket_id": "1", "launch_field_id": "1"}
    flight = {**place, "leans": "into", "rail": "2.4 m", "wind": "12", "wind_from": "W"}
    offset = {"offset_fore": "0.1", "offset_aft": "0.1"}
    return [
        f"/motors/design?{urlencode({**design, **motor, **flight})}",
        f"{built}?{urlencode(flight)}",
        f"/motors/coring?{urlencode({**crooked, **motor, **offset})}",
    ]


def _pages(client: TestClient) -> Iterator[tuple[str, _Texts]]:
    """Every kind of page that a walk from the first page meets, one of each."""
    seen: Counter[str] = Counter()
    coming = ["/", *_asked(client)]
    met = set(coming)
    while coming:
        address = coming.pop(0)
        if address.startswith(tuple(LEFT)) or seen[_shape(address)] >= EACH:
            continue
        seen[_shape(address)] += 1
        answer = client.get(address)
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        assert answer.status_code == 200, address
        page = _Texts(answer.text)
        yield address, page
        for link in page.links:
            there = urlsplit(urljoin(f"http://localhost{address}", link))
            onward = there.path + (f"?{there.query}" if there.query else "")
            if there.hostname == "localhost" and onward not in met:
                met.add(onward)
                coming.append(onward)


def typed_in(engine: Engine) -> re.Pattern[str]:
    """What people typed into the book, the longest first."""
    found: set[str] = set()
    with engine.connect() as book:
        for (table,) in book.execute(text("SELECT name FROM sqlite_master WHERE type = 'table'")).all():
            for row in book.execute(text(f'PRAGMA table_info("{table}")')).all():
                if row[1] in TYPED or row[1].endswith("_typed"):
                    column = book.execute(text(f'SELECT DISTINCT "{row[1]}" FROM "{table}"'))
                    found.update(
                        part for (value,) in column if value for part in (str(value), *re.split(r"__ \S+", str(value)))
                    )
        for (said,) in book.execute(text("SELECT numbers_json FROM checklist_answer")).all():
            found.update(number["typed"] for number in json.loads(said))
    texts = sorted((" ".join(one.split()) for one in found if len(one) > 2), key=len, reverse=True)
    return re.compile("|".join(rf"(?<![\w.,]){re.escape(one)}(?!\w)" for one in [*HEADS, *texts]))


@pytest.mark.parametrize("system", SYSTEMS)
def test_no_page_speaks_in_another_system(demo_book: Path, tmp_path: Path, system: str) -> None:
    book = tmp_path / "book.sqlite3"
    copied_with_files(demo_book, book)
    app = create_app(Settings(book=book))
    with browser_of(app) as client:
        with writing(engine_of(app)) as session:
            house = session.get_one(Workshop, 1)
            for column, kind in UNIT_FIELDS.items():
                setattr(house, column, getattr(SYSTEMS[system], kind))
            session.commit()
        typed = typed_in(engine_of(app))
        found: dict[str, list[str]] = {}
        count = 0
        for path, page in _pages(client):
            count += 1
            choices = [] if CHOICES.match(path) else page.choices
            hot = re.compile("°[CF]") if path.startswith("/cast/") else re.compile("(?!)")
            said = [typed.sub("…", PRINTED.sub("…", hot.sub("°", words))) for words in [*page.texts, *choices]]
            assert not any("Note(" in words or "[SI, " in words for words in said), path
            if path in ("/workshop/settings", "/workshop/changes"):  # they tell the units that were chosen before
                said = [words for words in said if " " in words]
            if foreign := [words for words in said if FOREIGN[system].search(words)]:
                found[path] = foreign
    assert count > 70
    assert found == {}
