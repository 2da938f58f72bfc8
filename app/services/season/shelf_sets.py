"""What lies on the shelf as the sets of wished motors: the oldest grains first, masses even within a set."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.calc.grain.matched_sets import even_sets
from app.services.grains import shelf
from app.services.grains.shelf import Standing
from app.services.season import wishes
from app.services.season.overview import Kind, Line, Overview, usable


@dataclass(frozen=True)
class MotorSet:
    """The grains of one motor, lightest first within a kind, and the widest range of mass within one kind [kg]."""

    grains: tuple[Standing, ...]
    spread_kg: float

    @property
    def cured(self) -> bool:
        """Whether all of them are ready now."""
        return all(grain.state == "ready" for grain in self.grains)


def of(session: Session, seen: Overview) -> list[tuple[Line, list[MotorSet]]]:
    """The sets for each wish that has a motor, the wishes that matter most and are due first served first."""
    pool: dict[Kind, list[Standing]] = {}
    for grain in sorted(usable(shelf.standing(session)), key=lambda g: (g.poured_at, g.serial)):
        pool.setdefault((grain.formula_id, grain.pattern_id), []).append(grain)
    found = []
    for line in sorted(seen.lines, key=lambda one: (wishes.ORDER[one.wish.matters], one.wish.by_on, one.wish.pk)):
        if line.motor is None or not line.left:
            continue
        kinds = dict(line.motor.kinds)
        count = min([line.left, *(len(pool.get(kind, [])) // size for kind, size in kinds.items())])
        if count:
            found.append((line, _sets(pool, kinds, count)))
    return found


def _sets(pool: dict[Kind, list[Standing]], kinds: dict[Kind, int], count: int) -> list[MotorSet]:
    """So many sets out of the oldest grains of each kind, which leave the pool."""
    parts: list[list[tuple[Sequence[Standing], float]]] = []
    for kind, size in kinds.items():
        oldest, pool[kind] = pool[kind][: size * count], pool[kind][size * count :]
        if size == 1:
            parts.append([([grain], 0.0) for grain in oldest])
        else:
            chosen = even_sets([grain.mass_kg for grain in oldest], size, count)
            parts.append([([oldest[i] for i in one.members], one.spread) for one in chosen])
    return [
        MotorSet(tuple(grain for grains, _ in motor for grain in grains), max(spread for _, spread in motor))
        for motor in zip(*parts, strict=True)
    ]
