"""What is to do next for a season, and the season in one sentence."""

from dataclasses import dataclass
from datetime import date, timedelta

from app import clock
from app.services.season.casting import Casting
from app.services.season.overview import Line, Overview
from app.services.season.shopping import Shopping
from app.units import counted


@dataclass(frozen=True)
class Step:
    """Something to do: the beginning of a sentence and its rest, where it is done, and the words of its button."""

    words: str
    rest: str
    href: str
    button: str


def address(season_id: int) -> str:
    """Where a season is looked at."""
    return f"/season/{season_id}"


def wish_address(line: Line) -> str:
    """Where a wish is looked at."""
    return f"{address(line.wish.season_id)}/wishes/{line.wish.pk}"


def motors_address(line: Line) -> str:
    """Where a motor is chosen for a wish."""
    return f"{wish_address(line)}/motors"


SOON = timedelta(days=14)
"""What is short by then is bought before anything else is planned; Grainbook's own choice."""


def following(seen: Overview, cast: Casting | None, list_: Shopping | None = None) -> Step | None:
    """The next thing that the season asks for; None where it has all it wants."""
    home = address(seen.season.pk)
    if not seen.lines:
        return Step("Write the first flight on the list", ".", f"{home}/wishes/new", "Write it down")
    missing = seen.without_motor
    if missing:
        first = missing[0]
        return Step(f"Choose a motor for {first.name}", f", {_wanted(first)}.", motors_address(first), "Choose a motor")
    late = [line for line in seen.lines if line.left and line.wish.by_on < clock.today()]
    if late:
        first = late[0]
        return Step(
            f"Give {first.name} another day",
            f": {clock.day(first.wish.by_on)} is past, and {counted(first.left, 'firing is', 'firings are')} left.",
            wish_address(first),
            "Change it",
        )
    if seen.lacking and cast is None:
        grains = counted(sum(seen.lacking.values()), "good grain")
        return Step("Work out the evenings", f": {grains} still to cast.", f"{home}/plan", "To the evenings")
    if cast is not None and cast.moved:
        return Step("Work the evenings out again", f": {cast.moved[0]}", f"{home}/plan", "To the evenings")
    return _buy(home, list_) or _evening(home, cast)


def _buy(home: str, list_: Shopping | None) -> Step | None:
    soon = [row for row in (list_.short if list_ else []) if row.by and row.by <= clock.today() + SOON]
    if not soon:
        return None
    first = min(soon, key=lambda row: row.by or clock.today())
    name = first.thing.name.lower() if first.is_mass else first.thing.name
    return Step(f"Buy {name}", f" before {clock.day(first.by or clock.today())}.", f"{home}#buy-head", "To the list")


def _evening(home: str, cast: Casting | None) -> Step | None:
    ahead = [evening for evening in (cast.ahead if cast else ()) if evening.open]
    if not ahead:
        return None
    first = ahead[0]
    words = f"Plan the {'melt' if len(first.melts) == 1 else 'melts'} of {clock.day(first.on)}"
    return Step(words, f": {first.words}.", f"{home}/plan#evening-{first.on}", "Plan it")


def _wanted(line: Line) -> str:
    what = counted(line.left, "flight") if line.wish.kind == "flight" else counted(line.left, "test")
    return f"{what} by {clock.day(line.wish.by_on)}"


def last_day(seen: Overview) -> date:
    """The last day by which something is wanted."""
    return max((line.wish.by_on for line in seen.lines if line.left), default=seen.season.ends_on)
