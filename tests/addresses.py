"""The pages of the demonstration book: every address of the app that answers a page, with rows of the book in it.

They come from the app's routes. One without a part to fill in is opened as it stands; for the others `WITH_ROWS` says
which rows to look at, and `AS_ASKED` adds addresses with a question behind them. `tests/pages/test_addresses.py` fails
where a route is in none of these, so that no new page is forgotten.
"""

import re
from collections.abc import Iterable
from typing import TypeVar

from sqlalchemy import Engine
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.db import writing
from app.models import (
    AltimeterFile,
    Batch,
    CastSession,
    Checklist,
    CurveFile,
    Firing,
    FiringFinding,
    Formula,
    GrainPattern,
    MotorBuild,
    Season,
    Wish,
)
from app.models.history import PersonIn
from app.models.picture import PictureIn
from app.services.book import people
from app.services.cast import checklists
from app.services.firings import media
from app.services.grains import grains, looks
from tests.routes import declared
from tests.test_pictures import png

T = TypeVar("T")
Rows = dict[str, str]

NO_PAGES = {
    "/api/v1/openapi.json": "/api/v1/openapi.json",
    "/drafts/discard": "/drafts/discard?page=/plan/new&back=/",
    "/enter": "/enter",
    "/enter/{ticket}": "/enter/1",
    "/firings/{firing_id}/altimeter/{file_id}/file": "/firings/{flown_firing}/altimeter/{flown}/file",
    "/firings/{firing_id}/curve/{file_id}/file": "/firings/{curve_firing}/curve/{curve}/file",
    "/firings/{firing_id}/pictures/{picture_id}": "/firings/{failed}/pictures/1",
    "/glass.css": "/glass.css?mm=4.409",
    "/labels/sheet.css": "/labels/sheet.css?size=a4-3x8",
    "/pair": "/pair",
    "/pair/authority.crt": "/pair/authority.crt",
    "/review/firings.csv": "/review/firings.csv",
    "/review/grains.csv": "/review/grains.csv",
    "/review/lots.csv": "/review/lots.csv",
    "/shelf/{serial}/pictures/{picture_id}": "/shelf/{grain}/pictures/1",
    "/season/{season_id}/calendar.ics": "/season/{season}/calendar.ics",
    "/timers": "/timers",
}
"""Routes that answer something else to a person at the bench's own machine: files, figures, a way back to a page.

`/pair` answers a page to devices that are not paired yet, `/enter` one to browsers that are not let in yet:
`tests/browser/test_devices.py`.
"""

OF_THE_NETWORK = {"/pair/authority.crt"}
"""Of these, what is there only while the book is open to the network: `tests/test_tls.py`."""

WITH_ROWS: dict[str, tuple[str, ...]] = {
    "/bench/{evening_id}": ("/bench/{evening}",),
    "/cast/{code}": ("/cast/{running}", "/cast/{past}"),
    "/cast/{code}/grains": ("/cast/{running}/grains", "/cast/{past}/grains"),
    "/cast/{code}/paper": ("/cast/{running}/paper",),
    "/cast/{code}/sheet": ("/cast/{planned}/sheet",),
    "/cast/{code}/test-pieces": ("/cast/{lot}/test-pieces",),
    "/firings/{firing_id}": ("/firings/{firing}", "/firings/{failed}", "/firings/{flown_firing}"),
    "/firings/{firing_id}/altimeter": ("/firings/{flown_firing}/altimeter",),
    "/firings/{firing_id}/altimeter/{file_id}": ("/firings/{flown_firing}/altimeter/{flown}",),
    "/firings/{firing_id}/curve": ("/firings/{curve_firing}/curve",),
    "/firings/{firing_id}/curve/{file_id}": ("/firings/{curve_firing}/curve/{curve}",),
    "/firings/{firing_id}/edit": ("/firings/{firing}/edit",),
    "/firings/{firing_id}/found": ("/firings/{failed}/found",),
    "/firings/{firing_id}/pictures": ("/firings/{failed}/pictures",),
    "/motors/{code}": ("/motors/{motor}",),
    "/plan/{code}": ("/plan/{planned}",),
    "/plan/{code}/checklist": ("/plan/{planned}/checklist", "/plan/{begun}/checklist"),
    "/plan/{code}/checklist/{checklist_id}": ("/plan/{past}/checklist/1",),
    "/plan/{code}/checklist/{checklist_id}/sign": ("/plan/{begun}/checklist/{begun_list}/sign",),
    "/plan/{code}/edit": ("/plan/{planned}/edit",),
    "/review/learned/firing/{firing_id}": ("/review/learned/firing/{curve_firing}",),
    "/review/learned/{formula_id}": ("/review/learned/{formula}",),
    "/review/{code}": ("/review/{past}",),
    "/season/{season_id}": ("/season/{season}",),
    "/season/{season_id}/calendar": ("/season/{season}/calendar", "/season/{season}/calendar?whole=1&large=1"),
    "/season/{season_id}/edit": ("/season/{season}/edit",),
    "/season/{season_id}/plan": ("/season/{season}/plan",),
    "/season/{season_id}/tests/new": ("/season/{season}/tests/new",),
    "/season/{season_id}/wishes/new": ("/season/{season}/wishes/new",),
    "/season/{season_id}/wishes/{wish_id}": ("/season/{season}/wishes/{wish}", "/season/{season}/wishes/{test_wish}"),
    "/season/{season_id}/wishes/{wish_id}/motors": (
        "/season/{season}/wishes/{wish}/motors",
        "/season/{season}/wishes/{test_wish}/motors",
    ),
    "/shelf/{serial}": ("/shelf/{grain}",),
    "/workshop/cases/{row_id}": ("/workshop/cases/1",),
    "/workshop/consumables/{row_id}": ("/workshop/consumables/1",),
    "/workshop/deliveries/{row_id}": ("/workshop/deliveries/1",),
    "/workshop/drills/{row_id}": ("/workshop/drills/1",),
    "/workshop/fields/{row_id}": ("/workshop/fields/1",),
    "/workshop/formulas/{formula_id}": ("/workshop/formulas/1",),
    "/workshop/incidents/{incident_id}": ("/workshop/incidents/1", "/workshop/incidents/2"),
    "/workshop/nozzles/{row_id}": ("/workshop/nozzles/1",),
    "/workshop/patterns/{row_id}": ("/workshop/patterns/1",),
    "/workshop/people/{row_id}": ("/workshop/people/1",),
    "/workshop/rockets/{row_id}": ("/workshop/rockets/1",),
    "/workshop/rods/{row_id}": ("/workshop/rods/1",),
    "/workshop/sizes/{row_id}": ("/workshop/sizes/1",),
    "/workshop/supplies/{row_id}": ("/workshop/supplies/1",),
    "/workshop/tubes/{row_id}": ("/workshop/tubes/1",),
}

_DESIGN = "formula_id={formula}&pattern_id={pattern}&count=4&case_id=1&nozzle_id=1"
_STATED = f"{_DESIGN}&density=95%25&field_elevation=0+m&grain_temperature=20+C"
_ASKEW = f"{_STATED}&faulty=2&offset_fore=0+mm&offset_aft=3+mm"
_FLOWN = "rocket_id=2&launch_field_id=1&leans=into&wind=9+m/s&wind_from=NW&delay=2+s"

NOWHERE = "/no-such-page"
UNSTATED = f"/motors/design?{_DESIGN}"
BEYOND = "/labels?lot={lot}&start=99"
"""What is not there and what cannot be are answered with a page too."""

AS_ASKED: dict[str, tuple[str, ...]] = {
    "/compare": ("/compare?a=motor:{motor}&b=firing:{curve_firing}",),
    "/find": ("/find",),
    "/labels": ("/labels?lot={lot}", BEYOND),
    "/motors/coring": (f"/motors/coring?{_ASKEW}",),
    "/motors/design": (f"/motors/design?{_STATED}", UNSTATED),
    "/motors/{code}": (f"/motors/{{motor}}?{_FLOWN}",),
    "/review/delivered": ("/review/delivered?by=lot&of={past}",),
    "/shelf/bags": ("/shelf/bags?grain={ready}",),
    "/shelf/reweigh": ("/shelf/reweigh?lot={lot}",),
    "/workshop/glass": ("/workshop/glass?card_px=444.9&by=10",),
    "/workshop/changes": ("/workshop/changes?what=deleted&noun=curve",),
}


def of_route(path: str) -> tuple[str, ...]:
    """The addresses to open of a route; none when nobody has said which rows to look at."""
    plain = () if "{" in path else (path,)
    return (*plain, *WITH_ROWS.get(path, ()), *AS_ASKED.get(path, ()))


def pages(routes: Iterable[str] | None = None) -> list[str]:
    """Every address to open, rows still to be filled in: `/plan/{planned}`."""
    walked = [path for path in routes or declared("GET") if path not in NO_PAGES]
    return [*(address for path in walked for address in of_route(path)), NOWHERE]


def status(address: str) -> int:
    """What the answer must say, so that no page of a fault passes for the page that was meant."""
    return {NOWHERE: 404, UNSTATED: 422, BEYOND: 422}.get(address, 200)


def leads_to(address: str, path: str) -> bool:
    """Whether an address is one of a route's."""
    return re.fullmatch(re.sub(r"\{[^}]+\}", "[^/]+", path), address.partition("?")[0]) is not None


def _first(session: Session, wanted: SelectOfScalar[T]) -> T:
    found = session.exec(wanted).first()
    assert found is not None
    return found


def complete(engine: Engine) -> None:
    """Give a copy of the demonstration book the rows that some page is of and its story has not."""
    with writing(engine) as session:
        people.save(session, PersonIn.model_validate({"name": "Ada"}))
        failed = session.get_one(Firing, _first(session, select(FiringFinding)).firing_id)
        media.keep(session, failed, PictureIn(file="case.png", caption="The case, after"), png())
        planned = select(Batch).where(Batch.state == "planned").order_by(col(Batch.id).desc())
        checklists.start(session, _first(session, planned))
        looked_at = grains.ready(session)[0]
        looks.keep_picture(session, looked_at, PictureIn(file="face.png", caption="Its upper face"), png())
        session.commit()


def rows(engine: Engine) -> Rows:
    """The rows of the demonstration book that the addresses name."""
    with Session(engine) as session:
        curve, flown = _first(session, select(CurveFile)), _first(session, select(AltimeterFile))
        ready = grains.ready(session)[0]
        season = _first(session, select(Season).order_by(col(Season.ends_on).desc()))
        begun = _first(session, select(Checklist).where(col(Checklist.completed_at).is_(None)))
        return {
            "running": _first(session, select(Batch).where(Batch.state == "casting")).code,
            "evening": str(_first(session, select(CastSession).where(col(CastSession.closed_at).is_(None))).id),
            "planned": _first(session, select(Batch).where(Batch.state == "planned").order_by(col(Batch.id))).code,
            "begun": session.get_one(Batch, begun.batch_id).code,
            "begun_list": str(begun.id),
            "past": _first(session, select(Batch).where(Batch.state == "cast")).code,
            "lot": ready.serial.split("-")[0],
            "grain": ready.serial,
            "ready": str(ready.id),
            "motor": _first(session, select(MotorBuild).order_by(col(MotorBuild.id).desc())).code,
            "firing": str(_first(session, select(Firing)).id),
            "curve": str(curve.id),
            "curve_firing": str(curve.firing_id),
            "failed": str(_first(session, select(FiringFinding)).firing_id),
            "flown": str(flown.id),
            "flown_firing": str(flown.firing_id),
            "season": str(season.pk),
            "wish": str(_first(session, select(Wish).where(Wish.season_id == season.pk)).id),
            "test_wish": str(_first(session, select(Wish).where(Wish.season_id == season.pk, Wish.kind == "test")).id),
            "formula": str(_first(session, select(Formula)).id),
            "pattern": str(_first(session, select(GrainPattern)).id),
        }
