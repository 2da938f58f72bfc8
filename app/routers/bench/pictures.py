"""The bench view's pictures: the evening's time line, the pan's strip, the bowl at hand, the tube at a step."""

from contextlib import suppress

from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.drawings.bowls import Bowl, OtherBowl, bowl
from app.drawings.evening_line import Row, evening_line
from app.drawings.pan_strip import Event, Level, Pan, Reading, pan_strip
from app.drawings.tube_section import Act as TubeAct
from app.drawings.tube_section import Tube, tube_section
from app.models import CastingTube, CoringRod, GrainPattern, TemperatureReading
from app.services.book import repository, workshop
from app.services.cast import at_bench, targets
from app.services.cast.at_bench import Screen
from app.services.cast.weigh_outs import PartNow
from app.units import UnitError, UnitSystem, parse, show

PLOT_EM, BESIDE_EM = 4.6, 3.8
"""Height of the pan's curve in letters, alone and with what is due elsewhere: a screen holds it with the field."""

TUBE_ACTS: dict[str, TubeAct] = {"pour": "pour", "core": "core", "compact": "compact", "pull": "pull"}


def time_line(rows: list[Row]) -> Markup:
    """Everything that was done, is due and comes this evening."""
    return evening_line(rows, clock.now())


def strip(
    session: Session, screen: Screen, rows: list[Row], read: list[TemperatureReading], units: UnitSystem
) -> Markup | None:
    """The temperatures of the evening's pans over time with the band of the step in front; nothing before the first."""
    run = screen.pan
    if run is None or not read:
        return None
    shop = workshop.get(session)

    def level(k: float | None) -> Level | None:
        return Level(k, show(k, "temperature", units)) if k is not None else None

    step = screen.act.step if screen.act is not None and screen.act.run is run else None
    done = [act for row in rows for act in row.acts if row.pan and act.state == "done" and act.kind != "weigh"]
    return pan_strip(
        Pan(
            [Reading(r.temperature_k, show(r.temperature_k, "temperature", units), r.read_at) for r in read],
            Level(shop.pan_limit_k, show(shop.pan_limit_k, "temperature", units)),
            clock.now(),
            level(step.pan_low_k if step and step.pan_low_k is not None else shop.pan_low_k),
            level(step.pan_high_k if step and step.pan_high_k is not None else shop.pan_limit_k),
            [Event(act.kind, act.at) for act in done],
            at_bench.READ_AGAIN,
            plot_em=BESIDE_EM if screen.others else PLOT_EM,
            headed=False,
        )
    )


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
