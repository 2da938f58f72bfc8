"""A season's casting worked out from its inputs, kept as a plan, and read back evening by evening."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from sqlmodel import Session

from app import clock
from app.calc.base.notes import Amount, Note
from app.calc.season import season as calc
from app.calc.season.melt_loads import Pan, Pattern
from app.calc.season.obstacles import plan_what_matters
from app.calc.season.rejects import rejects_by_melt
from app.models import Batch, Season, SeasonPlan
from app.services.book import workshop
from app.services.season import casting_changes, casting_inputs, kept_plans
from app.services.season.casting_inputs import Inputs
from app.units import say

SECONDS = 3.0
"""Time for the search of a plan [s]."""


@dataclass(frozen=True)
class Melt:
    """One melt of a plan: its formula, how many grains of each kind, and how full the pan is, as a share."""

    formula: str
    grains: dict[str, int]
    mass_kg: float
    fill: float

    @property
    def words(self) -> str:
        """Its grains."""
        return " and ".join(f"{count} {name}" for name, count in self.grains.items())


@dataclass(frozen=True)
class Evening:
    """An evening of a plan: its melts, when their grains are cured, and the batches that were planned for it."""

    on: date
    melts: tuple[Melt, ...]
    cured: date
    batches: tuple[Batch, ...]

    @property
    def words(self) -> str:
        """What is cast, all melts together."""
        grains: dict[str, int] = {}
        for melt in self.melts:
            for name, count in melt.grains.items():
                grains[name] = grains.get(name, 0) + count
        return " and ".join(f"{count} {name}" for name, count in grains.items())

    @property
    def open(self) -> bool:
        """Whether its batches can be planned now."""
        return not self.batches and self.on >= clock.today()


@dataclass(frozen=True)
class Kind:
    """Grains of one kind: wanted, on the shelf, in melts that stand, to be cast by the plan; rejects so far."""

    name: str
    wanted: int
    lying: int
    promised: int
    cast: int
    rejected: int
    decided: int
    expected: float


@dataclass(frozen=True)
class Casting:
    """A plan as it was kept, and how the book stands to it."""

    row: SeasonPlan
    feasible: bool
    why_not: str
    evenings: tuple[Evening, ...]
    kinds: tuple[Kind, ...]
    chance: dict[date, float]
    confidence: float
    gap: float
    seconds: float
    stopped: tuple[str, ...]
    """What was searched for when its time was over."""
    given_up: tuple[str, ...]
    stands: tuple[tuple[str, date], ...]
    """Batches that were planned already when it was worked out, with their days: it counts on them."""
    changes: tuple[str, ...]
    moved: tuple[str, ...]
    """Why it does not hold any more, as the book stands now."""

    @property
    def least_chance(self) -> float:
        """That of the day on which it is least sure."""
        return min(self.chance.values(), default=1.0)

    @property
    def ahead(self) -> tuple[Evening, ...]:
        """The evenings that are not past."""
        return tuple(evening for evening in self.evenings if evening.on >= clock.today())

    @property
    def melts_ahead(self) -> int:
        """Melts of those evenings."""
        return sum(len(evening.melts) for evening in self.ahead)

    @property
    def cast_words(self) -> str:
        """How many grains are cast to have how many good ones."""
        good = sum(max(kind.wanted - kind.lying - kind.promised, 0) for kind in self.kinds)
        cast = sum(kind.cast for kind in self.kinds)
        if not self.feasible:
            return f"cast {cast} of what is wanted" if cast else "not all can be cast"
        return f"cast {cast} to have {good} good" if cast else "none is to be cast"

    @property
    def last_on(self) -> date | None:
        """The last evening."""
        return self.evenings[-1].on if self.evenings else None


@dataclass(frozen=True)
class KeptResult:
    """A plan's answer as it is kept; why not as a text, or as words with their amounts."""

    feasible: bool
    why_not: str | dict[str, Any]
    cast: dict[str, int]
    evenings: list[dict[str, Any]]
    chance: dict[str, float]
    gap: float
    seconds: float
    given_up: list[str]
    stopped: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Worked:
    """A plan that was worked out and is not kept yet."""

    inputs: Inputs
    result: dict[str, Any]
    changes: list[str]


def work_out(session: Session, season: Season) -> Worked:
    """Plan a season anew as the book stands, as near to the plan kept as can be; nothing is written.

    Raises
    ------
    Refused
        Nothing is wanted, no motor is chosen, or the pan's capacity is not stated.
    CalcError
        There are too many ways to mix the patterns of a formula.
    """
    before = kept_plans.last(session, season)
    inputs = casting_inputs.of(session, season)
    asked = to_calc(inputs, _still_kept(session, season, before))
    result = _as_json(plan_what_matters(asked, SECONDS))
    changes: list[str] = []
    if before is not None:
        changes = casting_changes.sentences(session, before, inputs, result)
    return Worked(inputs, result, changes)


def keep(session: Session, season: Season, worked: Worked) -> SeasonPlan:
    """Keep a plan that was worked out."""
    return kept_plans.keep(session, season, worked.inputs, worked.result, worked.changes)


def current(session: Session, season: Season) -> Casting | None:
    """The plan that counts, with its batches, and whether it still holds; None where none was worked out."""
    row = kept_plans.last(session, season)
    return None if row is None else read(session, season, row)


def read(session: Session, season: Season, row: SeasonPlan) -> Casting:
    """A plan as it was kept, with the batches that came of it."""
    inputs, result = json.loads(row.inputs_json), json.loads(row.result_json)
    opened = kept_plans.opened_on(session, season)
    asked = to_calc(inputs, ())
    pan = asked.bench.pan
    evenings = []
    for evening in _evenings(result["evenings"]):
        melts = tuple(_melt(asked, melt, pan) for melt in evening.melts)
        mine = tuple(opened.get(evening.on, ()))
        evenings.append(Evening(evening.on, melts, asked.ready(evening.on), mine))
    why = result["why_not"]
    units = workshop.get(session).units
    return Casting(
        row=row,
        feasible=result["feasible"],
        why_not=why if isinstance(why, str) else say(_note(why), units),
        evenings=tuple(evenings),
        kinds=_kinds(inputs, result),
        chance={date.fromisoformat(day): chance for day, chance in result["chance"].items()},
        confidence=inputs["confidence"],
        gap=result["gap"],
        seconds=result["seconds"],
        stopped=tuple(result.get("stopped", ())),
        given_up=tuple(result["given_up"]),
        stands=tuple((one["code"], date.fromisoformat(one["on"])) for one in inputs["promised"] if one["grains"]),
        changes=tuple(json.loads(row.changes_json)),
        moved=tuple(casting_changes.since(session, season, row)),
    )


def kinds_of(row: SeasonPlan) -> dict[str, tuple[int, int]]:
    """Formula and pattern of each kind of grain that a plan names."""
    kinds = json.loads(row.inputs_json)["kinds"]
    return {name: (kind["formula_id"], kind["pattern_id"]) for name, kind in kinds.items()}


def _melt(asked: calc.Season, melt: calc.MeltPlan, pan: Pan) -> Melt:
    mass = pan.melt_kg(asked.weight(melt.grains))
    return Melt(melt.formula, dict(melt.grains), mass, mass / pan.holds_kg)


def _kinds(inputs: Inputs, result: Mapping[str, Any]) -> tuple[Kind, ...]:
    found = []
    for name in inputs["kinds"]:
        record = inputs["rejects"][name]
        found.append(
            Kind(
                name,
                sum(flight["count"] * flight["grains"].get(name, 0) for flight in inputs["flights"]),
                sum(one["count"] for one in inputs["shelf"] if one["pattern"] == name),
                sum(melt["grains"].get(name, 0) for melt in inputs["promised"]),
                result["cast"].get(name, 0),
                sum(rejected for rejected, _ in record),
                sum(cast for _, cast in record),
                rejects_by_melt([(rejected, cast) for rejected, cast in record]).expected,
            )
        )
    return tuple(found)


def _still_kept(session: Session, season: Season, before: SeasonPlan | None) -> list[calc.EveningPlan]:
    """The evenings of the plan before that are to come and were not made into batches."""
    if before is None:
        return []
    opened = kept_plans.opened_on(session, season)
    listed = _evenings(json.loads(before.result_json)["evenings"])
    return [one for one in listed if one.on >= clock.today() and one.on not in opened]


# --- To the calculation and back -----------------------------------------------------------------


def to_calc(inputs: Inputs, kept: Sequence[calc.EveningPlan]) -> calc.Season:
    """A season as the calculation takes it, out of the inputs that are kept with a plan."""
    bench, evenings = inputs["bench"], inputs["evenings"]
    patterns = {name: Pattern(kind["mass_kg"], kind["formula"]) for name, kind in inputs["kinds"].items()}
    return calc.Season(
        flights=[
            calc.WantedFlight(
                flight["name"],
                flight["count"],
                flight["grains"],
                date.fromisoformat(flight["by"]),
                flight["test"] and flight["first"],
                flight["priority"],
            )
            for flight in inputs["flights"]
        ],
        patterns=patterns,
        bench=calc.Bench(
            pan=Pan(bench["pan_kg"], bench["over_pour"], bench["test_pieces_kg"]),
            melts_per_evening=bench["melts_per_evening"],
            cure_days=bench["cure_days"],
            tube_held_h=bench["rod_held_h"],
            most_held_kg=bench["most_held_kg"],
            remelt_limit=bench["remelt_limit"],
            held_besides_kg=bench["held_besides_kg"],
            shared=[(frozenset(one["patterns"]), one["sets"]) for one in bench["tools"]],
        ),
        evenings=[date.fromisoformat(one["on"]) for one in evenings],
        shelf=[calc.Lying(one["pattern"], one["count"], date.fromisoformat(one["ready"])) for one in inputs["shelf"]],
        rejects={
            name: rejects_by_melt([(rejected, cast) for rejected, cast in record])
            for name, record in inputs["rejects"].items()
        },
        confidence=inputs["confidence"],
        deliveries=[
            calc.Delivery(one["ingredient"], one["kg"], date.fromisoformat(one["on"])) for one in inputs["deliveries"]
        ],
        blends=inputs["blends"],
        remelt_kg=inputs["remelt_kg"],
        promised=_promised(inputs["promised"]),
        kept=kept,
        spare={date.fromisoformat(day): grains for day, grains in inputs["spare"].items()},
        today=date.fromisoformat(inputs["today"]),
        melts_on={date.fromisoformat(one["on"]): one["melts"] for one in evenings},
        cure_days_on={
            date.fromisoformat(one["on"]): one["cure_days"]
            for one in evenings
            if one["cure_days"] != bench["cure_days"]
        },
    )


def _promised(melts: Sequence[Inputs]) -> list[calc.EveningPlan]:
    """Melts that stand, by their evening."""
    by_day: dict[date, list[calc.MeltPlan]] = {}
    for melt in melts:
        by_day.setdefault(date.fromisoformat(melt["on"]), []).append(calc.MeltPlan(melt["formula"], melt["grains"]))
    return [calc.EveningPlan(day, tuple(of)) for day, of in sorted(by_day.items())]


def _evenings(listed: Sequence[Inputs]) -> list[calc.EveningPlan]:
    return [
        calc.EveningPlan(
            date.fromisoformat(one["on"]),
            tuple(calc.MeltPlan(melt["formula"], melt["grains"]) for melt in one["melts"]),
        )
        for one in listed
    ]


def _as_json(made: calc.CastPlan) -> dict[str, Any]:
    why = made.why_not
    kept = KeptResult(
        feasible=made.feasible,
        why_not=why
        if isinstance(why, str)
        else {"words": why.words, "amounts": {name: list(amount) for name, amount in why.amounts.items()}},
        cast=dict(made.cast),
        evenings=[
            {
                "on": evening.on.isoformat(),
                "melts": [{"formula": melt.formula, "grains": dict(melt.grains)} for melt in evening.melts],
            }
            for evening in made.evenings
        ],
        chance={day.isoformat(): chance for day, chance in made.chance.items()},
        gap=made.gap,
        seconds=made.seconds,
        given_up=list(made.given_up),
        stopped=list(made.stopped),
    )
    return asdict(kept)


def _note(kept: Mapping[str, Any]) -> Note:
    return Note(kept["words"], {name: Amount(*amount) for name, amount in kept["amounts"].items()})
