"""What the shelf and the workshop can put together now: grains matched by mass, the case they fit, the nozzle for it.

How many grains go into a case, and which nozzle behind them, is taken from the last motor of that case and pattern that
held; without one, the case is filled, and a nozzle is named where only one fits. Nothing here says what such a motor
would do: its prediction is made as it is built, and is no promise.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.calc.grain.matched_sets import even_sets
from app.models import BuildGrain, Case, Firing, Formula, Grain, GrainPattern, MotorBuild, Nozzle
from app.models.firing import FAILED
from app.services.book import repository, workshop
from app.services.grains.shelf import Standing
from app.services.hardware import inventory
from app.services.motors import clearance
from app.units import UnitSystem, show


@dataclass(frozen=True)
class Buildable:
    """A motor that can be built: its grains, lightest first, and how far their masses lie apart [kg].

    `as_in` is the motor that had this case, nozzle and number of such grains before, `held` whether it burned well;
    `further` is how many more such sets the shelf has. Without a nozzle, the person chooses one.
    """

    formula: Formula
    pattern: GrainPattern
    grains: list[Standing]
    spread_kg: float
    case: Case
    nozzle: Nozzle | None
    as_in: str
    held: bool
    further: int

    @property
    def query(self) -> list[tuple[str, str]]:
        """What the form of a new motor is opened with."""
        asked = [("grain", str(grain.grain_id)) for grain in self.grains] + [("case_id", str(self.case.pk))]
        return asked + ([("nozzle_id", str(self.nozzle.pk))] if self.nozzle else [])

    @property
    def what(self) -> str:
        """Its grains in words."""
        return f"{len(self.grains)} {self.pattern.name} of {self.formula.name}"

    def words(self, units: UnitSystem) -> str:
        """Its grains, case and nozzle, and how well they go together."""
        return f"{self.what} {self.place(units)}"

    def place(self, units: UnitSystem) -> str:
        """Its case and nozzle, and how well its grains go together."""
        said = f"in {self.case.name}"
        if self.nozzle:
            said += f" with {self.nozzle.name}" + (f", as in {self.as_in}" if self.as_in else "")
        if len(self.grains) > 1:
            said += f"; their masses lie within {show(self.spread_kg, 'mass', units)}"
        return said if self.nozzle else f"{said}; choose its nozzle"


@dataclass(frozen=True)
class Buildables:
    """What can be built now, and, where nothing can, what is nearest to it."""

    motors: list[Buildable]
    lacking: str
    """Why there is nothing, and when there may be; empty where a motor can be built."""


@dataclass(frozen=True)
class _Before:
    """A motor that was built: its case, nozzle, pattern and number of grains, and whether it burned well."""

    code: str
    case_id: int
    nozzle_id: int
    pattern_id: int
    count: int
    good: bool


@dataclass(frozen=True)
class _Load:
    """So many grains of a pattern that a case takes, and the motor that had so many."""

    case: Case
    pattern: GrainPattern
    formula_id: int
    count: int
    before: _Before | None


def now(session: Session, standing: Sequence[Standing]) -> Buildables:
    """What can be built of the grains as they stand on the shelf: each case, nozzle and grain in one motor at most."""
    house = workshop.get(session)
    waiting = [g for g in standing if g.state in ("accepted", "curing")]
    ready = [g for g in standing if g.state == "ready"]
    in_use = inventory.cases(session)
    taken = _taken(session)
    free = [case for case in in_use if case.pk not in taken.cases]
    nozzles = [nozzle for nozzle in inventory.nozzles(session) if nozzle.pk not in taken.nozzles]
    patterns = repository.by_id(session, GrainPattern, {g.pattern_id for g in [*ready, *waiting]})
    loads = _loads(session, free, patterns, [*ready, *waiting], _built_before(session))
    left = {key: list(kind) for key, kind in _by_kind(ready)}
    formulas = repository.by_id(session, Formula, {g.formula_id for g in ready})
    found: list[Buildable] = []
    for load in loads:
        kind = left.get((load.formula_id, load.pattern.pk), [])
        if load.count > len(kind) or any(one.case is load.case for one in found):
            continue
        chosen, spread = _matched(kind, load.count)
        rest = [grain for grain in kind if grain not in chosen]
        left[load.formula_id, load.pattern.pk] = rest
        open_nozzles = [nozzle for nozzle in nozzles if all(one.nozzle is not nozzle for one in found)]
        nozzle = _nozzle(load, open_nozzles)
        as_before = load.before if load.before and nozzle and load.before.nozzle_id == nozzle.pk else None
        found.append(
            Buildable(
                formula=formulas[load.formula_id],
                pattern=load.pattern,
                grains=chosen,
                spread_kg=spread,
                case=load.case,
                nozzle=nozzle,
                as_in=as_before.code if as_before else "",
                held=bool(as_before and as_before.good),
                further=len(rest) // load.count,
            )
        )
    if found:
        return Buildables(found, "")
    return Buildables([], _lacking(ready, waiting, in_use, free, loads, house.units))


# --- What is there -------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Taken:
    """Cases and nozzles that are in a motor that waits to be fired."""

    cases: set[int]
    nozzles: set[int]


def _taken(session: Session) -> _Taken:
    burned = select(Firing.motor_build_id).where(Firing.result != "no_light")
    whole = select(MotorBuild.case_id, MotorBuild.nozzle_id)
    rows = session.exec(whole.where(col(MotorBuild.taken_apart_at).is_(None), col(MotorBuild.id).not_in(burned))).all()
    return _Taken({case for case, _ in rows}, {nozzle for _, nozzle in rows})


def _built_before(session: Session) -> list[_Before]:
    """Motors of one pattern each, those that burned well first, then the newest; none that failed."""
    results = dict(
        session.exec(select(Firing.motor_build_id, Firing.result).where(col(Firing.result) != "no_light")).all()
    )
    query = (
        select_core(
            col(MotorBuild.id),
            col(MotorBuild.code),
            col(MotorBuild.case_id),
            col(MotorBuild.nozzle_id),
            col(Grain.pattern_id),
            func.count(col(Grain.id)),
        )
        .join(BuildGrain, col(BuildGrain.motor_build_id) == MotorBuild.id)
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .where(col(MotorBuild.taken_apart_at).is_(None))
        .group_by(col(MotorBuild.id), col(Grain.pattern_id))
        .order_by(col(MotorBuild.built_on).desc(), col(MotorBuild.id).desc())
    )
    rows = session.execute(query).all()
    patterns = Counter(row[0] for row in rows)
    kept = [
        _Before(code, case_id, nozzle_id, pattern_id, count, results.get(build_id) == "good")
        for build_id, code, case_id, nozzle_id, pattern_id, count in rows
        if patterns[build_id] == 1 and results.get(build_id) not in FAILED
    ]
    return sorted(kept, key=lambda before: not before.good)


def _by_kind(grains: Iterable[Standing]) -> list[tuple[tuple[int, int], list[Standing]]]:
    """Grains by formula and pattern, which alone go together."""

    def kind(grain: Standing) -> tuple[int, int]:
        return grain.formula_id, grain.pattern_id

    return [(key, list(group)) for key, group in groupby(sorted(grains, key=kind), key=kind)]


def _loads(
    session: Session,
    cases: Sequence[Case],
    patterns: dict[int, GrainPattern],
    grains: Iterable[Standing],
    before: Sequence[_Before],
) -> list[_Load]:
    """What each free case takes of each kind: first what burned well before, then what was built, then the fullest."""
    house = workshop.get(session)
    found = []
    for (formula_id, pattern_id), kind in _by_kind(grains):
        pattern = patterns[pattern_id]
        wide = clearance.width(session, pattern, max(grain.outer_d_m for grain in kind))
        for case in cases:
            most = clearance.most(case, pattern.length_m, house)
            if wide > case.inner_d_m or not most:
                continue
            fits = [b for b in before if (b.case_id, b.pattern_id) == (case.pk, pattern_id) and b.count <= most]
            enough = next((b for b in fits if b.count <= len(kind)), next(iter(fits), None))
            found.append(_Load(case, pattern, formula_id, enough.count if enough else most, enough))

    def rank(load: _Load) -> tuple[bool, bool, float]:
        spare = load.case.chamber_length_m - load.count * load.pattern.length_m
        return load.before is None, not (load.before and load.before.good), spare

    return sorted(found, key=rank)


def _matched(kind: Sequence[Standing], count: int) -> tuple[list[Standing], float]:
    """The grains of the most even set of a kind, and the range of their masses [kg]."""
    if count == 1:
        return [kind[0]], 0.0
    (best,) = even_sets([grain.mass_kg for grain in kind], count, 1)
    return [kind[i] for i in best.members], best.spread


def _nozzle(load: _Load, free: Sequence[Nozzle]) -> Nozzle | None:
    """The nozzle that was behind such grains before; else the only one that goes into the case."""
    if load.before:
        return next((nozzle for nozzle in free if load.before and nozzle.pk == load.before.nozzle_id), None)
    fits = [nozzle for nozzle in free if nozzle.exit_d_m <= load.case.inner_d_m]
    return fits[0] if len(fits) == 1 else None


# --- Where nothing can be built ------------------------------------------------------------------


def _lacking(
    ready: Sequence[Standing],
    waiting: Sequence[Standing],
    cases: Sequence[Case],
    free: Sequence[Case],
    loads: Sequence[_Load],
    units: UnitSystem,
) -> str:
    if not ready and not waiting:
        return "No grain on the shelf is accepted and dry."
    if not cases:
        return "No case is in the book yet."
    if not free:
        return "Every case is in a motor that waits to be fired."
    soon: list[tuple[datetime, str]] = []
    short: list[tuple[int, str]] = []
    have = {key: len(kind) for key, kind in _by_kind(ready)}
    all_of = dict(_by_kind([*ready, *waiting]))
    for load in loads:
        kind, there = all_of[load.formula_id, load.pattern.pk], have.get((load.formula_id, load.pattern.pk), 0)
        takes = f"{load.case.name} takes {load.count} {load.pattern.name}"
        if len(kind) >= load.count:
            cured = sorted(grain.cured_at for grain in kind)[load.count - 1]
            soon.append((cured, f"{takes}, and so many are cured {clock.day_and_time(cured)}."))
        else:
            more = f"; {len(kind) - there} more cure" if len(kind) > there else ""
            short.append((load.count - len(kind), f"{takes}, and {there or 'none'} {_are(there)} ready{more}."))
    if soon or short:
        return min(soon)[1] if soon else min(short)[1]
    widest = show(max(grain.outer_d_m for grain in [*ready, *waiting]), "length", units)
    return f"No free case takes the grains on the shelf, which are up to {widest} wide without their tubes."


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
