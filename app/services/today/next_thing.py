"""What there is to do, the next thing first: each as the beginning and the rest of a sentence, with the way to it.

An open evening comes before all of it; its steps have their own clock (`casting.coming`). The order is Grainbook's own
choice: first what was begun and cannot wait, then what has a day, then what the shelf allows.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from urllib.parse import urlencode

from app import clock
from app.services.grains.shelf import Standing
from app.services.today.today import Day, Plan
from app.units import UnitSystem, show

WEIGH_AGAIN = timedelta(days=60)
"""A cured grain that was on no scale for so long is weighed again before it is built in: Grainbook's own, no source."""

SOON = timedelta(days=1)
"""A melt planned for no later than this is the next thing; Grainbook's own choice."""


@dataclass(frozen=True)
class Thing:
    """Something to do: the beginning of a sentence and its rest, where it is done, and the words of its button."""

    words: str
    rest: str
    href: str
    button: str


def things(day: Day, units: UnitSystem) -> list[Thing]:
    """All there is to do, the next first; what waits for its hour only comes last."""
    found = list(_things(day, units))
    if not found and day.lack is not None:
        found = [Thing(day.lack.words, f", for {day.lack.goal}: nothing else is due.", day.lack.href, "Go there")]
    return found or [
        Thing("Plan a melt.", "Nothing runs, nothing is due and nothing is planned.", "/plan/new", "Plan it")
    ]


def _things(day: Day, units: UnitSystem) -> Iterator[Thing]:
    yield from _first_steps(day)
    for code, lot in _lots(day.undecided):
        yield Thing(f"Decide on {_grains(lot)} of {code}", ": accept, hold or reject.", _weighing(code), f"To {code}")
    for code, lot in _lots(day.unbagged):
        yield Thing(f"Bag {_grains(lot)} of {code}", ", before they draw water.", _weighing(code), f"To {code}")
    for row in day.incidents:
        told = f"{row.told[:1].lower()}{row.told[1:]}"
        yield Thing(
            f"Write out the {told}", f", of {clock.day(row.happened_at)}.", f"/workshop/incidents/{row.id}", "Write it"
        )
    for code, lot in _lots(day.wet):
        rest = ": wet at the last re-weigh, and held until then."
        yield Thing(f"Dry {_grains(lot)} of {code} and weigh again", rest, f"/shelf/reweigh?lot={code}", "Re-weigh")
    soon = [plan for plan in day.plans if plan.batch.planned_for <= clock.today() + SOON]
    yield from (_melt(plan, units) for plan in soon)
    for built in day.motors:
        code, rest = built.build.code, f", built {clock.day(built.build.built_on)} and not fired yet."
        if built.held:
            yield Thing(
                f"Take {code} apart or accept it", f": {built.state_words.lower()}.", f"/motors/{code}", f"To {code}"
            )
        else:
            yield Thing(f"Fire {code}", rest, f"/motors/{code}", f"To {code}")
    if day.season is not None and day.season.step is not None:
        step = day.season.step
        yield Thing(step.words, step.rest, step.href, step.button)
    yield from _of_the_shelf(day, units)
    yield from (_melt(plan, units) for plan in day.plans if plan not in soon)
    for curing in day.curing:
        rest = f": nothing is to do before. {_count(curing.count)} of {curing.code} are cured then."
        yield Thing(f"Wait until {clock.day_and_time(curing.ready_at)}", rest, "/shelf", "To the shelf")
    if day.ready and not day.can_build.motors:
        said = f"{_count(day.ready)} {'is' if day.ready == 1 else 'are'} ready. {day.can_build.lacking}"
        yield Thing("Plan a melt.", said, "/plan/new", "Plan it")


def _first_steps(day: Day) -> Iterator[Thing]:
    """Of a new book, what is to be entered next."""
    for step in day.first_steps:
        if not step.done:
            yield Thing(step.words, ": this book is new.", step.href, "Begin")
            return


def _of_the_shelf(day: Day, units: UnitSystem) -> Iterator[Thing]:
    """What can be built, weighed again before where that is long ago."""
    old = [g for g in day.standing if g.state == "ready" and clock.now() - g.weighed_at > WEIGH_AGAIN]
    used = {grain.grain_id for one in day.can_build.motors for grain in one.grains}
    for code, lot in _lots([grain for grain in old if grain.grain_id in used]):
        weeks = (clock.now() - min(grain.weighed_at for grain in lot)).days // 7
        rest = f", on no scale for {weeks} weeks, before a motor is built of them."
        yield Thing(f"Weigh {_grains(lot)} of {code} again", rest, f"/shelf/reweigh?lot={code}", "Re-weigh")
    for one in day.can_build.motors:
        yield Thing(
            f"Build a motor: {one.what}", f" {one.place(units)}.", f"/motors/new?{urlencode(one.query)}", "Build it"
        )


def _melt(plan: Plan, units: UnitSystem) -> Thing:
    """A melt that waits: what is short of comes first, then its day."""
    code, day = plan.batch.code, plan.batch.planned_for
    if plan.short:
        lacks = " and ".join(f"{show(need.short_kg, 'mass', units)} of {need.name.lower()}" for need in plan.short)
        return Thing(
            f"Buy {lacks}", f", so that {code} can be cast on {clock.day(day)}.", f"/plan/{code}", "See the plan"
        )
    when = "today" if day == clock.today() else f"on {clock.day(day)}"
    rest = f": its day, {clock.day(day)}, is past." if plan.overdue else f" {when}."
    return Thing(f"Cast {code}", rest, f"/plan/{code}", "To the plan")


def _weighing(code: str) -> str:
    return f"/cast/{code}/grains"


def _lots(standing: list[Standing]) -> list[tuple[str, list[Standing]]]:
    return [(code, list(lot)) for code, lot in groupby(standing, key=lambda grain: grain.lot)]


def _grains(lot: list[Standing]) -> str:
    return f"the {_count(len(lot))}" if len(lot) > 1 else "the grain"


def _count(number: int) -> str:
    return f"{number} {'grain' if number == 1 else 'grains'}"
