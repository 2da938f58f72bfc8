"""From any thing to what it came from and what it became: bags, batch, grains, motor, firings, in one walk.

A walk goes back from where it starts and on from there, never sideways: of a grain it tells the batch and its bags, and
the motor it went into, but not that motor's other grains. What was melted again stands once, with the way to the lot it
came from or went into. `trace` tells the amounts, and walks through remelts too.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from typing import Any, Literal, get_args

from sqlmodel import Session

from app import clock
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
        _grains(session, ids[2], pairs[2]),
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

_MELTED = "FROM weigh_out w JOIN batch_part p ON p.id = w.batch_part_id WHERE w.voided_at IS NULL AND"
_BACK = {
    "bag": (
        f"SELECT DISTINCT w.supply_id, p.batch_id {_MELTED} w.supply_id IS NOT NULL AND p.batch_id IN {{0}}",
        f"SELECT DISTINCT -w.leftover_id, p.batch_id {_MELTED} w.leftover_id IS NOT NULL AND p.batch_id IN {{0}}",
    ),
    "batch": ("SELECT batch_id, id FROM grain WHERE id IN {0}",),
    "grain": ("SELECT grain_id, motor_build_id FROM build_grain WHERE motor_build_id IN {0}",),
    "motor": ("SELECT motor_build_id, id FROM firing WHERE id IN {0}",),
}
_ON = {
    "bag": (f"SELECT DISTINCT w.supply_id, p.batch_id {_MELTED} w.supply_id IN {{0}}",),
    "batch": (
        "SELECT batch_id, id FROM grain WHERE batch_id IN {0}",
        "SELECT DISTINCT l.batch_id, -l.id FROM leftover l JOIN weigh_out w ON w.leftover_id = l.id "
        "WHERE w.voided_at IS NULL AND l.batch_id IN {0}",
    ),
    "grain": ("SELECT grain_id, motor_build_id FROM build_grain WHERE grain_id IN {0}",),
    "motor": ("SELECT motor_build_id, id FROM firing WHERE motor_build_id IN {0}",),
}
"""What asks which rows of a stage led to which of the next: for these of the next, and for these of the stage."""


def _asked(session: Session, query: str, ids: Iterable[int]) -> list[tuple[Any, ...]]:
    """The answer of plain SQL for these rows: with a mapper ten such questions are half of a page's time."""
    listed = (json.dumps([*ids]),)
    rows = session.connection().exec_driver_sql(query.format("(SELECT value FROM json_each(?))"), listed)
    return [tuple(row) for row in rows]


def _pairs(session: Session, stage: Stage, ids: Iterable[int], back: bool) -> list[Pair]:
    """Which rows of a stage led to which of the next, for these of the next (`back`) or of the stage itself."""
    queries = (_BACK if back else _ON)[stage]
    return [(one, other) for query in queries for one, other in _asked(session, query, ids)]


# --- The things themselves -----------------------------------------------------------------------


def _bags(session: Session, ids: set[int]) -> list[Node]:
    rows = _asked(session, "SELECT id, mark, ingredient FROM supply WHERE id IN {0} ORDER BY id DESC", ids)
    return [
        Node((n,), mark, supplies.ingredient_name(ingredient), f"/workshop/supplies/{n}")
        for n, mark, ingredient in rows
    ] + [Node((-n,), mark, f"remelt of {code}", f"/review/{code}") for n, mark, code in _leftovers(session, ids)]


def _leftovers(session: Session, ids: Iterable[int]) -> list[tuple[Any, ...]]:
    """Of the numbers below nought the leftovers: number, mark, and the code of its batch."""
    kept = [-n for n in ids if n < 0]
    query = "SELECT l.id, l.mark, b.code FROM leftover l JOIN batch b ON b.id = l.batch_id WHERE l.id IN {0}"
    return _asked(session, query, kept) if kept else []


def _batches(session: Session, ids: set[int]) -> list[Node]:
    query = (
        "SELECT b.id, b.code, b.state, f.name FROM batch b JOIN formula f ON f.id = b.formula_id "
        "WHERE b.id IN {0} ORDER BY b.id DESC"
    )
    return [
        Node((n,), code, formula, f"/review/{code}" if state == "cast" else f"/plan/{code}")
        for n, code, state, formula in _asked(session, query, ids)
    ]


def _grains(session: Session, ids: set[int], built: list[Pair]) -> list[Node]:
    """Grains of one batch that went into the same motors stand together."""
    into: dict[int, list[int]] = {}
    for grain_id, build_id in built:
        into.setdefault(grain_id, []).append(build_id)

    def way(row: tuple[Any, ...]) -> tuple[int, list[int], str]:
        return -row[2], into.get(row[0], []), row[3] or ""

    query = "SELECT id, serial, batch_id, gone_to FROM grain WHERE id IN {0} ORDER BY id"
    found = []
    for (_, motors, gone), group in groupby(sorted(_asked(session, query, ids), key=way), key=way):
        same = list(group)
        first, last = same[0][1], same[-1][1]
        below = gone or ("" if motors else "in no motor yet")
        if len(same) == 1:
            found.append(Node((same[0][0],), first, below, f"/shelf/{first}"))
            continue
        code = first.rpartition("-")[0]
        words = f"{len(same)} grains{', ' if below else ''}{below}"
        name = f"{first}…{last.rpartition('-')[2]}"
        found.append(Node(tuple(row[0] for row in same), name, words, f"/find?q={code}&of=grain"))
    return found + [
        Node((-n,), mark, "leftover, melted again", f"/review/{code}") for n, mark, code in _leftovers(session, ids)
    ]


def _motors(session: Session, ids: set[int]) -> list[Node]:
    query = "SELECT id, code, built_on, taken_apart_at FROM motor_build WHERE id IN {0} ORDER BY id DESC"
    return [
        Node((n,), code, "taken apart" if apart else f"built {clock.day(date.fromisoformat(on))}", f"/motors/{code}")
        for n, code, on, apart in _asked(session, query, ids)
    ]


def _firings(session: Session, ids: set[int]) -> list[Node]:
    query = "SELECT id, kind, result, fired_at FROM firing WHERE id IN {0} ORDER BY fired_at DESC"
    return [
        Node(
            (n,),
            clock.day(datetime.fromisoformat(at).replace(tzinfo=UTC)),
            f"{'flight' if kind == 'flight' else 'test'}, {RESULTS.get(result, result).lower()}",
            f"/firings/{n}",
        )
        for n, kind, result, at in _asked(session, query, ids)
    ]
