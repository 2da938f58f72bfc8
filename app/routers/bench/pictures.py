"""The bench view's pictures: the evening's time line, the pan's strip, the bowl at hand, the tube at a step."""

from contextlib import suppress
from dataclasses import replace

from markupsafe import Markup
from sqlmodel import Session

from app.drawings.bowls import Bowl, OtherBowl, bowl
from app.drawings.evening_line import Row
from app.drawings.pan_strip import pan_strip
from app.drawings.tube_section import Act as TubeAct
from app.drawings.tube_section import Tube, tube_section
from app.models import CastingTube, CoringRod, GrainPattern
from app.routers.cast import evening_pictures
from app.services.book import repository, workshop
from app.services.cast import targets
from app.services.cast.at_bench import Screen
from app.services.cast.weigh_outs import PartNow
from app.units import UnitError, UnitSystem, parse

BESIDE_EM = 3.8
"""Height of the pan's curve in letters where something is due elsewhere: a screen holds it with the field."""

TUBE_ACTS: dict[str, TubeAct] = {"pour": "pour", "core": "core", "compact": "compact", "pull": "pull"}


def strip(session: Session, screen: Screen, rows: list[Row], units: UnitSystem) -> Markup | None:
    """The pan's strip as a metre away needs it: the last hours, its newest reading told beside it, larger."""
    run = screen.pan
    if run is None:
        return None
    step = screen.act.step if screen.act is not None and screen.act.run is run else None
    found = evening_pictures.pan_curve(session, run.cast, rows, step, units)
    if found is None:
        return None
    return pan_strip(replace(found, plot_em=BESIDE_EM if screen.others else found.plot_em, headed=False))


def of_bowl(session: Session, screen: Screen, typed: str) -> Markup | None:
    """The bowl at hand, filled as far as it was booked, or to a reading that is asked about."""
    if screen.bowl is None:
        return None
    shop, one = workshop.get(session), screen.bowl
    reading = one.weighed_kg or None
    if typed and not reading:
        with suppress(UnitError):
            reading = parse(typed, "mass", shop.units).si
    others = [OtherBowl(p.name, targets.words(p.part.target_kg, shop), _done(p)) for p in screen.bowls if p is not one]
    tolerance = max(shop.weigh_tolerance_share * one.part.target_kg, shop.scale_resolution_kg)
    return bowl(Bowl(one.name, one.part.target_kg, tolerance, reading), others)


def _done(part: PartNow) -> bool:
    return part.state in ("in", "out")


def of_tube(session: Session, screen: Screen) -> Markup | None:
    """The tube in section at the step in front; nothing where no pattern or no such act is."""
    act = TUBE_ACTS.get(screen.act.kind) if screen.act is not None else None
    if act is None or screen.act is None or not screen.run.batch.items:
        return None
    pattern = repository.get(session, GrainPattern, screen.run.batch.items[0].pattern_id, "pattern")
    tube = session.get(CastingTube, pattern.casting_tube_id) if pattern.casting_tube_id else None
    rod = session.get(CoringRod, pattern.coring_rod_id) if pattern.coring_rod_id else None
    return tube_section(
        Tube(
            tube.inner_d_m if tube else pattern.outer_d_m,
            tube.outer_d_m if tube else pattern.outer_d_m,
            rod.diameter_m if rod else pattern.core_d_m,
            pattern.length_m,
            tube.length_m if tube else None,
        ),
        act,
    )
