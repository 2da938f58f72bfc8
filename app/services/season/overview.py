"""A season at a glance: each wish with its motor, what was flown of it and what lies on the shelf for it.

The shelf is shared out grain by grain: the wishes that matter most first, among those the ones that are due first.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.models import (
    Batch,
    BuildGrain,
    Case,
    Firing,
    Formula,
    Grain,
    GrainPattern,
    LaunchField,
    MotorBuild,
    MotorChoice,
    Nozzle,
    Rocket,
    Season,
    Wish,
)
from app.services.grains import shelf
from app.services.grains.shelf import Standing
from app.services.season import figures, fulfilled, kept_choices, wishes
from app.services.season.figures import Figures

USABLE = ("ready", "accepted", "curing")
"""States of a grain on the shelf that a motor can have, now or once it is cured."""

Kind = tuple[int, int]
"""What grains go together by: formula and pattern."""


@dataclass(frozen=True)
class Motor:
    """A chosen motor with the rows of its parts; `inside` are patterns with how many, from the closure on."""

    choice: MotorChoice
    case: Case
    nozzle: Nozzle
    formula: Formula
    inside: list[tuple[GrainPattern, int]]
    expected: Figures

    @property
    def kinds(self) -> Counter[Kind]:
        """How many grains of each kind it takes."""
        found: Counter[Kind] = Counter()
        for pattern, count in self.inside:
            found[self.formula.pk, pattern.pk] += count
        return found

    @property
    def grains_words(self) -> str:
        """Its grains in words."""
        return " and ".join(f"{count} {pattern.name}" for pattern, count in self.inside)


@dataclass(frozen=True)
class Line:
    """A wish with all that is known of it: flights or tests that were fired, that lie ready and that are to be cast."""

    wish: Wish
    rocket: Rocket | None
    field: LaunchField | None
    formula: Formula | None
    case: Case | None
    motor: Motor | None
    fired: list[Firing]
    ready: int
    """Motors whose grains are on the shelf, or that are built."""

    @property
    def name(self) -> str:
        """What it is called."""
        if self.rocket is not None:
            return self.rocket.name
        assert self.formula is not None
        return f"Test of {self.formula.name}"

    @property
    def fired_count(self) -> int:
        """Firings of it, no more than were wanted."""
        return min(len(self.fired), self.wish.count)

    @property
    def left(self) -> int:
        """Firings that are still wanted."""
        return max(self.wish.count - len(self.fired), 0)

    @property
    def to_cast(self) -> int:
        """Motors whose grains are not there yet."""
        return max(self.left - self.ready, 0)


@dataclass(frozen=True)
class Overview:
    """A season's lines in the order of its list, the grains that lie over and those that are lacking, by kind."""

    season: Season
    lines: list[Line]
    lacking: Counter[Kind]
    """Good grains that are still to come off the tools."""
    over: Counter[Kind]
    """Grains on the shelf that no wish takes."""
    fired_besides: list[Firing]

    @property
    def flights(self) -> list[Line]:
        """The wished flights."""
        return [line for line in self.lines if line.wish.kind == "flight"]

    @property
    def tests(self) -> list[Line]:
        """The wished static tests."""
        return [line for line in self.lines if line.wish.kind == "test"]

    @property
    def wanted(self) -> int:
        """Flights wanted, those flown among them."""
        return sum(line.wish.count for line in self.flights)

    @property
    def on_shelf(self) -> int:
        """Flights whose motors or grains are there."""
        return sum(line.ready for line in self.flights)

    @property
    def flown(self) -> int:
        """Flights that were flown."""
        return sum(len(line.fired) for line in self.flights)

    @property
    def without_motor(self) -> list[Line]:
        """Wishes for which no motor is chosen and something is still wanted."""
        return [line for line in self.lines if line.motor is None and line.left]


def of(session: Session, season: Season) -> Overview:
    """The season as the book stands now."""
    wanted = wishes.wishes(session, season)
    fired = fulfilled.fired(session, season)
    motors = _motors(session, season)
    pool = Counter((g.formula_id, g.pattern_id) for g in usable(shelf.standing(session)))
    waiting = built(session)
    lacking: Counter[Kind] = Counter()
    ready: dict[int, int] = {}
    for wish in sorted(wanted, key=lambda w: (wishes.ORDER[w.matters], w.by_on, w.pk)):
        left, motor = max(wish.count - len(fired[wish.pk]), 0), motors.get(wish.pk)
        ready[wish.pk] = 0
        while motor is not None and ready[wish.pk] < left:
            of_built = _key(motor)
            if waiting[of_built]:
                waiting[of_built] -= 1
            elif all(pool[kind] >= count for kind, count in motor.kinds.items()):
                pool -= motor.kinds
            else:
                break
            ready[wish.pk] += 1
        if motor is not None:
            for _ in range(left - ready[wish.pk]):
                there = pool & motor.kinds
                pool -= there
                lacking += motor.kinds - there
    return Overview(
        season=season,
        lines=[_line(session, wish, motors.get(wish.pk), fired[wish.pk], ready[wish.pk]) for wish in wanted],
        lacking=lacking,
        over=pool,
        fired_besides=fired[0],
    )


def line_of(session: Session, wish: Wish) -> Line:
    """One wish, as it stands in its season; one that was struck out has no firings and nothing on the shelf."""
    if wish.struck_at is None:
        seen = of(session, session.get_one(Season, wish.season_id))
        return next(line for line in seen.lines if line.wish.pk == wish.pk)
    choice = kept_choices.of_wish(session, wish)
    return _line(session, wish, motor_of(session, choice) if choice else None, [], 0)


def name_of(session: Session, wish: Wish) -> str:
    """What a wish is called."""
    return _line(session, wish, None, [], 0).name


def usable(standing: Iterable[Standing]) -> list[Standing]:
    """The grains on the shelf that a motor can have."""
    return [grain for grain in standing if grain.state in USABLE]


def motor_of(session: Session, choice: MotorChoice) -> Motor:
    """A chosen motor with the rows of its parts."""
    case, nozzle = session.get_one(Case, choice.case_id), session.get_one(Nozzle, choice.nozzle_id)
    inside = [(session.get_one(GrainPattern, grain.pattern_id), grain.count) for grain in choice.grains]
    formula = session.get_one(Formula, choice.formula_id)
    return Motor(choice, case, nozzle, formula, inside, figures.of(choice))


def _motors(session: Session, season: Season) -> dict[int, Motor]:
    return {wish: motor_of(session, choice) for wish, choice in kept_choices.standing(session, season).items()}


def _key(motor: Motor) -> tuple[int, frozenset[tuple[Kind, int]]]:
    return motor.case.pk, frozenset(motor.kinds.items())


def built(session: Session) -> Counter[tuple[int, frozenset[tuple[Kind, int]]]]:
    """Motors that are built and wait to be fired, by case and grains."""
    burned = select(Firing.motor_build_id).where(Firing.result != "no_light")
    query = (
        select(MotorBuild.id, MotorBuild.case_id, Batch.formula_id, Grain.pattern_id)
        .join(BuildGrain, col(BuildGrain.motor_build_id) == col(MotorBuild.id))
        .join(Grain, col(BuildGrain.grain_id) == col(Grain.id))
        .join(Batch, col(Grain.batch_id) == col(Batch.id))
        .where(col(MotorBuild.taken_apart_at).is_(None), col(MotorBuild.id).not_in(burned))
    )
    inside: dict[int, Counter[Kind]] = {}
    cases: dict[int, int] = {}
    for build, case, formula, pattern in session.exec(query):
        assert build is not None
        cases[build] = case
        inside.setdefault(build, Counter())[formula, pattern] += 1
    return Counter((cases[build], frozenset(kinds.items())) for build, kinds in inside.items())


def _line(session: Session, wish: Wish, motor: Motor | None, fired: list[Firing], ready: int) -> Line:
    return Line(
        wish=wish,
        rocket=session.get(Rocket, wish.rocket_id) if wish.rocket_id else None,
        field=session.get(LaunchField, wish.launch_field_id) if wish.launch_field_id else None,
        formula=session.get(Formula, wish.formula_id) if wish.formula_id else None,
        case=session.get(Case, wish.case_id) if wish.case_id else None,
        motor=motor,
        fired=fired,
        ready=ready,
    )
