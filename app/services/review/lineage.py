"""From any thing to what it came from and what it became: bags, batch, grains, motor, firings, in one walk.

A walk goes back from where it starts and on from there, never sideways: of a grain it tells the batch and its bags, and
the motor it went into, but not that motor's other grains. What was melted again stands once, with the way to the lot it
came from or went into. `trace` tells the amounts, and walks through remelts too.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal, get_args

from sqlalchemy import ColumnElement
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, BatchPart, BuildGrain, Firing, Formula, Grain, Leftover, MotorBuild, Supply, WeighOut
from app.models.firing import RESULTS
from app.services.stock import supplies

Stage = Literal["bag", "batch", "grain", "motor", "firing"]
STAGES: tuple[Stage, ...] = get_args(Stage)

SHOWN = 5
"""So many of a stage are told one by one, the newest; of the others only how many there are."""

Pair = tuple[int, int]
"""What led to what: a row's number and another's; a leftover's is below nought, before its batch as behind it."""


@dataclass(frozen=True)
class Node:
    """One thing of a stage, or grains that went the same way: its name, a word on it, and its page."""

    ids: tuple[int, ...]
    name: str
    below: str
    href: str
    here: bool = False


@dataclass(frozen=True)
class Lineage:
    """The nodes of each stage, newest first, how many more there are, and which led to which."""

    stages: list[list[Node]]
    more: list[int]
    links: list[tuple[int, int, int]]
    """Number of the stage, place in it, place in the next one."""


def of(session: Session, stage: Stage, row_id: int) -> Lineage:
    """The walk from one row, both ways."""
    start = STAGES.index(stage)
    ids: dict[int, set[int]] = {start: {row_id}}
    pairs: dict[int, list[Pair]] = {}
    for i in range(start - 1, -1, -1):
        pairs[i] = _pairs(session, STAGES[i], ids[i + 1], back=True)
        ids[i] = {one for one, _ in pairs[i]}
    for i in range(start, len(STAGES) - 1):
        pairs[i] = _pairs(session, STAGES[i], ids[i], back=False)
        ids[i + 1] = {other for _, other in pairs[i]}
    every = [
        _bags(session, ids[0]),
        _batches(session, ids[1]),
        _grains(session, ids[2], pairs[1], pairs[2]),
        _motors(session, ids[3]),
        _firings(session, ids[4]),
    ]
    every[start] = [Node(n.ids, n.name, n.below, "", True) for n in every[start]]
    for i in range(len(STAGES) - 2, start, -1):  # what went furthest is told first
        ahead = {number for node in every[i + 1][:SHOWN] for number in node.ids}
        went = {one for one, other in pairs[i] if other in ahead}
        every[i].sort(key=lambda node, went=went: went.isdisjoint(node.ids))  # type: ignore[misc]
    stages = [nodes[:SHOWN] for nodes in every]
    links = {
        (i, a, b)
        for i, found in pairs.items()
        for one, other in found
        for a, node in enumerate(stages[i])
        if one in node.ids
        for b, later in enumerate(stages[i + 1])
        if other in later.ids
    }
    return Lineage(stages, [sum(len(n.ids) for n in nodes[SHOWN:]) for nodes in every], sorted(links))


# --- What led to what ----------------------------------------------------------------------------


def _pairs(session: Session, stage: Stage, ids: Iterable[int], back: bool) -> list[Pair]:
    """Which rows of a stage led to which of the next, for these of the next (`back`) or of the stage itself."""

    def asked(one: Any, other: Any, *joins: tuple[Any, ColumnElement[bool]]) -> list[Pair]:
        query = select(one, other).where((other if back else one).in_(list(ids)))
        for table, on in joins:
            query = query.join(table, on)
        return [(a, b) for a, b in session.exec(query.order_by(other).distinct()).all()]

    part = (BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
    standing = (WeighOut, col(WeighOut.leftover_id) == Leftover.id)
    match stage:
        case "bag":
            weighed = (WeighOut, (col(WeighOut.supply_id) == Supply.id) & col(WeighOut.voided_at).is_(None))
            found = asked(col(Supply.id), col(BatchPart.batch_id), weighed, part)
            remelted = asked(col(Leftover.id), col(BatchPart.batch_id), standing, part) if back else []
            return found + [(-kept, batch) for kept, batch in remelted]
        case "batch":
            remelted = [] if back else asked(col(Leftover.batch_id), col(Leftover.id), standing)
            return asked(col(Grain.batch_id), col(Grain.id)) + [(batch, -kept) for batch, kept in remelted]
        case "grain":
            return asked(col(BuildGrain.grain_id), col(BuildGrain.motor_build_id))
    return asked(col(Firing.motor_build_id), col(Firing.id))


# --- The things themselves -----------------------------------------------------------------------


def _bags(session: Session, ids: set[int]) -> list[Node]:
    bags = session.exec(select(Supply).where(col(Supply.id).in_(ids)).order_by(col(Supply.id).desc())).all()
    found = [
        Node((bag.pk,), bag.mark, supplies.ingredient_name(bag.ingredient), f"/workshop/supplies/{bag.pk}")
        for bag in bags
    ]
    return found + [
        Node((-kept.pk,), kept.mark, f"remelt of {code}", f"/review/{code}") for kept, code in _leftovers(session, ids)
    ]


def _leftovers(session: Session, ids: set[int]) -> list[tuple[Leftover, str]]:
    """Of the numbers below nought the leftovers, each with its batch's code."""
    query = select(Leftover, Batch.code).join(Batch, col(Leftover.batch_id) == Batch.id)
    return list(session.exec(query.where(col(Leftover.id).in_([-i for i in ids if i < 0]))).all())


def _batches(session: Session, ids: set[int]) -> list[Node]:
    query = select(Batch.id, Batch.code, Batch.state, Formula.name).join(Formula, col(Batch.formula_id) == Formula.id)
    rows = session.exec(query.where(col(Batch.id).in_(ids)).order_by(col(Batch.id).desc())).all()
    return [
        Node((number or 0,), code, formula, f"/review/{code}" if state == "cast" else f"/plan/{code}")
        for number, code, state, formula in rows
    ]


def _grains(session: Session, ids: set[int], cast: list[Pair], built: list[Pair]) -> list[Node]:
    """Grains of one batch that went into the same motors stand together."""
    into: dict[int, list[int]] = {}
    for grain_id, build_id in built:
        into.setdefault(grain_id, []).append(build_id)
    told = (col(Grain.id), col(Grain.serial), col(Grain.batch_id), col(Grain.gone_to))
    asked = select_core(*told).where(col(Grain.id).in_(ids)).order_by(col(Grain.id))
    rows = [(number or 0, serial, batch, gone) for number, serial, batch, gone in session.execute(asked)]

    def way(row: tuple[int, str, int, str | None]) -> tuple[int, list[int], str]:
        return -row[2], into.get(row[0], []), row[3] or ""

    found = []
    for (_, motors, gone), group in groupby(sorted(rows, key=way), key=way):
        same = list(group)
        first, last = same[0][1], same[-1][1]
        code = first.rpartition("-")[0]
        one = len(same) == 1
        name = first if one else f"{first}…{last.rpartition('-')[2]}"
        below = gone or ("" if motors else "in no motor yet")
        href = f"/shelf/{first}" if one else f"/find?q={code}&of=grain"
        found.append(
            Node(
                tuple(row[0] for row in same),
                name,
                below if one else f"{len(same)} grains{', ' if below else ''}{below}",
                href,
            )
        )
    further = {other: batch for batch, other in cast if other < 0}
    return found + [
        Node((-kept.pk,), kept.mark, "leftover, melted again", f"/review/{code}")
        for kept, code in _leftovers(session, set(further))
    ]


def _motors(session: Session, ids: set[int]) -> list[Node]:
    told = (MotorBuild.id, MotorBuild.code, MotorBuild.built_on, MotorBuild.taken_apart_at)
    rows = session.execute(
        select_core(*map(col, told)).where(col(MotorBuild.id).in_(ids)).order_by(col(MotorBuild.id).desc())
    ).all()
    return [
        Node((number or 0,), code, "taken apart" if apart else f"built {clock.day(on)}", f"/motors/{code}")
        for number, code, on, apart in rows
    ]


def _firings(session: Session, ids: set[int]) -> list[Node]:
    query = select(Firing.id, Firing.kind, Firing.result, Firing.fired_at).where(col(Firing.id).in_(ids))
    rows = session.exec(query.order_by(col(Firing.fired_at).desc())).all()
    return [
        Node(
            (n or 0,),
            clock.day(at),
            f"{'flight' if kind == 'flight' else 'test'}, {RESULTS.get(result, result).lower()}",
            f"/firings/{n}",
        )
        for n, kind, result, at in rows
    ]
