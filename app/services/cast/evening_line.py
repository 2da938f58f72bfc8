"""The rows of an evening's time line: when each step was done, is due, or may come.

What has no time yet is estimated from the run sheet's own waits, along the chain of what must be done before it; a step
that the sheet does not time takes `UNTIMED`. An estimate is marked as one, and nothing is decided by it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from app import clock
from app.drawings.evening_line import Act, Row
from app.drawings.marks import Kind, State
from app.models import CastSession, CastStep, Melt
from app.services.cast import entering, steps
from app.services.stock import batches

UNTIMED = timedelta(minutes=10)
"""What a step without a time on the run sheet is taken for in the picture; Grainbook's own choice."""

PAN = "Pan"


@dataclass(frozen=True)
class MeltLine:
    """A melt of the evening with the name of its lot and its steps as they stand now."""

    code: str
    melt: Melt
    now: Sequence[steps.Now]


@dataclass(frozen=True)
class _Placed:
    """A step with the moment it stands at in the picture, and the moment from which others may count."""

    step: CastStep
    at: datetime
    estimate: bool
    is_next: bool

    @property
    def free(self) -> datetime:
        """When it is done with: what is late still has to be done."""
        return self.at if steps.settled(self.step) else max(self.at, clock.now())


def of_evening(session: Session, cast: CastSession) -> list[Row]:
    """The rows of an evening's melts, open or closed, in the order of their numbers."""
    pairs = zip(cast.melts, entering.lots(session, cast), strict=True)
    return rows(
        MeltLine(lot.code, melt, steps.of_melt(melt, lot, batches.weighed(session, lot))) for melt, lot in pairs
    )


def rows(melts: Iterable[MeltLine]) -> list[Row]:
    """The pan, with a run for each melt, and a row for each set of grains, in the order they are poured from it."""
    runs: list[list[Act]] = []
    sets: list[Row] = []
    begin = clock.now()
    several = len(lines := list(melts)) > 1
    for line in lines:
        placed = _place(line, begin)
        weighed = [p for p in placed if p.step.key == "weigh"]
        pan = [p for p in placed if (p.step.set_number == 0 and p.step.key != "weigh") or p.step.key == "pour"]
        runs += [run for run in ([*_acts(weighed)], [*_acts(pan)]) if run]
        count = max((p.step.set_number for p in placed), default=0)
        for number in range(1, count + 1):
            own = [p for p in placed if p.step.set_number == number]
            sets.append(Row(_name(line.code, number, count, several), [[*_acts(own)]]))
        pours = [p.free for p in placed if p.step.key == "pour" and not steps.settled(p.step)]
        begin = max([begin, *pours])  # one hot pan at a time: the next melt begins when this one is poured
    return [Row(PAN, runs, pan=True), *sets]


def _name(code: str, number: int, count: int, several: bool) -> str:
    if not several:
        return "Grains" if count == 1 else f"Set {number}"
    return code if count == 1 else f"{code} {number}"


def _place(line: MeltLine, begin: datetime) -> list[_Placed]:
    """Every step of a melt with its moment; a step passed over before it had one is left out."""
    placed: dict[int, _Placed] = {}
    for now in line.now:
        step = now.step
        known = step.done_at or now.due_at
        if known is None and step.skipped_why is not None:
            continue
        first = [placed[id(s)] for s in steps.before(line.melt, step) if id(s) in placed]
        at = known or _estimate(step, first, begin, now.is_next)
        placed[id(step)] = _Placed(step, at, known is None, now.is_next)
    return list(placed.values())


def _estimate(step: CastStep, first: Sequence[_Placed], begin: datetime, is_next: bool) -> datetime:
    """When a step may come: so long after the one it counts from, or when all before it is done."""
    own = [p for p in first if p.step.key == step.after_key and p.step.set_number in (step.set_number, 0)]
    if own and step.after_s is not None:
        return max(p.free for p in own) + timedelta(seconds=step.after_s)
    free = max([begin, *(p.free for p in first)])
    return free if is_next or (step.key == "pour" and _poured_once(first)) else free + UNTIMED


def _poured_once(first: Sequence[_Placed]) -> bool:
    """Whether a set before was poured from the same pan: the melt stands ready for the next."""
    return any(p.step.key == "compact" or p.step.key.startswith("compact:") for p in first)


def _acts(placed: Iterable[_Placed]) -> Iterator[Act]:
    hot = False
    for p in placed:
        kind = _kind(p.step, hot)
        hot = hot or kind == "heat"
        state = _state(p)
        yield Act(kind, p.at, state, estimate=p.estimate and state == "next")


def _state(placed: _Placed) -> State:
    if placed.step.skipped_why is not None:
        return "skipped"
    if placed.step.done_at is not None:
        return "done"
    return "now" if placed.is_next and placed.at <= clock.now() else "next"


_KINDS: dict[str, Kind] = {
    "weigh": "weigh",
    "oxidiser": "add",
    "pour": "pour",
    "core": "core",
    "compact": "compact",
    "pull": "pull",
    "bag": "bag",
}


def _kind(step: CastStep, hot: bool) -> Kind:
    """What a step is drawn as; the first thing that melts is the pan put on the heat."""
    name = step.key.partition(":")[0]
    if name in ("melt", "remelt"):
        return "add" if hot else "heat"
    return _KINDS.get(name, "other")
