"""The shelf as boxes by place, and the motors that can be built of it, drawn for the shelf's page and for the day's."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import groupby

from markupsafe import Markup

from app import clock
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.shelf_boxes import ShelfBox, ShelfGrain, ShelfRow, State, shelf_boxes
from app.drawings.small_motor import small_motor
from app.services.grains.shelf import Standing
from app.services.motors.buildable import Buildable

# The shelf is looked at far more often than it changes: each state of it is drawn once while the book is open.
_boxes = lru_cache(maxsize=16)(shelf_boxes)
_small = lru_cache(maxsize=64)(small_motor)

NO_PLACE = "no place noted"

LOTS = 14
"""So many lots are drawn, the newest; the rest is told in words and stands in the list below."""

_DRAWN: dict[str, State] = {"ready": "ready", "accepted": "curing", "curing": "curing"}
"""How a state is drawn; any other waits for hands or a decision, and is struck."""

_SAID = {
    "ready": "ready",
    "accepted": "to bag",
    "curing": "cure",
    "weighed": "to decide",
    "held": "held",
    "wet": "wet",
    "rejected": "rejected",
}
"""What is said of grains of a state, behind their number."""


def boxes(standing: Sequence[Standing], lots: int = LOTS, rest: str = "below") -> Markup | None:
    """Each place with its grains end-on to scale, by lot, newest first; nothing where the shelf is empty.

    So many lots are drawn; what is left is told in a box of its own, named `rest`.
    """
    if not standing:
        return None
    codes = list(dict.fromkeys(grain.lot for grain in reversed(standing)))
    drawn = [grain for grain in standing if grain.lot in codes[:lots]]
    by_place: dict[str, list[Standing]] = {}
    for grain in drawn:
        by_place.setdefault(grain.place or NO_PLACE, []).append(grain)
    places = sorted(by_place, key=lambda place: (place == NO_PLACE, place.casefold()))
    found = [ShelfBox(place, tuple(_rows(by_place[place], codes))) for place in places]
    if left := len(standing) - len(drawn):
        found.append(ShelfBox(rest, (ShelfRow("", (), f"{left} more of {len(codes) - lots} older lots"),)))
    return _boxes(tuple(found))


def _rows(grains: Iterable[Standing], codes: Sequence[str]) -> Iterable[ShelfRow]:
    in_order = sorted(grains, key=lambda grain: codes.index(grain.lot))
    for code, group in groupby(in_order, key=lambda grain: grain.lot):
        lot = list(group)
        shown = tuple(
            ShelfGrain(g.outer_d_m, g.core_d_m, _DRAWN.get(g.state, "held"), round(g.cure_share, 2)) for g in lot
        )
        yield ShelfRow(code, shown, _told(lot))


def _told(lot: Sequence[Standing]) -> str:
    """How many grains stand how, their age, or when they are cured."""
    states = [grain.state for grain in lot]
    counted = ", ".join(f"{states.count(state)} {said}" for state, said in _SAID.items() if state in states)
    cures = [grain.cured_at for grain in lot if grain.cure_share < 1 and grain.state in ("accepted", "curing")]
    if cures:
        return f"{counted}, until {clock.day(max(cures))}"
    days = (clock.now() - min(grain.poured_at for grain in lot)).days
    return f"{counted}, {days} {'day' if days == 1 else 'days'}"


def motors(found: Sequence[Buildable], grain_gap_m: float) -> list[Markup | None]:
    """Each motor that can be built, cut along its axis at one scale; nothing for one whose nozzle is not chosen."""
    return [_motor(one, grain_gap_m) if one.nozzle else None for one in found]


def _motor(one: Buildable, gap_m: float) -> Markup:
    assert one.nozzle is not None
    grains = tuple(CutGrain(g.outer_d_m, g.core_d_m, one.pattern.length_m, g.serial, state="ready") for g in one.grains)
    nozzle = CutNozzle(one.nozzle.throat_d_m, one.nozzle.exit_d_m, one.nozzle.divergence_rad)
    cut = MotorCut(one.case.inner_d_m, one.case.outer_d_m, one.case.chamber_length_m, grains, nozzle, gap_m=gap_m)
    serials = ", ".join(grain.serial for grain in one.grains)
    return _small(cut, f"{one.case.name} with {one.nozzle.name}", f"Grains from the closure on: {serials}.")
