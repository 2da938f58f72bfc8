"""The evenings as a mixed-integer program, solved exactly by HiGHS as SciPy brings it.

Evenings between two days on which something changes (the last day for a flight's grains, a test, a delivery) are alike:
they stand together in one span, and the program counts melts and evenings of a span, not of a day. That keeps it small
and leaves no two plans that differ by the names of alike evenings only. Melts are counted by full loads
(`melt_loads.full_loads`), so that every melt counted fits the pan and the tools.
"""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from app.calc.base.constants import Floats
from app.calc.season.melt_loads import Load, least_melts
from app.calc.season.program_parts import Setup

Cost = dict[int, float]
"""What each column of the program costs, by its number."""

_SLACK = 1e-6


@dataclass(frozen=True)
class Solved:
    """An answer of the program: grains of each pattern, melts of each load and evenings, span by span."""

    grains: dict[str, list[int]]
    melts: dict[tuple[str, Load], list[int]]
    evenings: list[int]
    stretch: dict[tuple[str, int], float]
    columns: Floats
    bound: float

    def costs(self, cost: Cost) -> float:
        """What it costs."""
        return float(sum(each * self.columns[column] for column, each in cost.items()))


NO_TIME = "No plan was found in the time there was, nor was it shown that there is none. Ask for more time."


class OutOfTime(Exception):
    """Time was over before a plan was found; none costs less than `bound`."""

    def __init__(self, bound: float) -> None:
        super().__init__(bound)
        self.bound = bound


@dataclass(frozen=True)
class Answer:
    """A plan; how far one of its costs may lie above the least, as a share of it, 0 where all are proven; and which
    searches ended with their time, in words.
    """

    solved: Solved
    gap: float
    stopped: tuple[str, ...] = ()


class Program:
    """The constraints, built once; asked for the least of one cost after the other, each held fast for the next."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self._rows: list[tuple[dict[int, float], float, float]] = []
        self._low: list[float] = []
        self._high: list[float] = []
        self._whole: list[int] = []
        spans, s = setup.spans, setup
        self.evening = [
            self._column(0, 10_000 if span.extra else len(span.days), fixed=len(span.days) if span.free else None)
            for span in spans
        ]
        self.load = {
            (formula, load): [
                self._column(0, span.melts_each * (10_000 if span.extra else len(span.days))) for span in spans
            ]
            for formula, (_, loads) in s.loads.items()
            for load in loads or [()]
        }
        self.grain = {p: [self._column(0, total) for _ in spans] for p, total in s.total.items()}
        self.day = [
            {day: self._column(0, span.melts_each, whole=False) for day in span.days} if not span.extra else {}
            for span in spans
        ]
        self.stretch: dict[tuple[str, int], int] = {}
        self._melts_fit_evenings()
        self._grains_fit_melts()
        self._wanted()
        self._kept()

    def _column(self, low: float, high: float, whole: bool = True, fixed: float | None = None) -> int:
        self._low.append(low if fixed is None else fixed)
        self._high.append(high if fixed is None else fixed)
        self._whole.append(int(whole))
        return len(self._low) - 1

    def _row(self, terms: Mapping[int, float], low: float = -np.inf, high: float = np.inf) -> None:
        self._rows.append((dict(terms), low, high))

    def melts(self, span: int, formula: str | None = None) -> list[int]:
        """The columns that count the melts of a span, of one formula or of all."""
        return [columns[span] for (of, _), columns in self.load.items() if formula in (None, of)]

    def _melts_fit_evenings(self) -> None:
        for i, span in enumerate(self.setup.spans):
            count = dict.fromkeys(self.melts(i), 1.0)
            self._row({**count, self.evening[i]: -float(span.melts_each)}, high=0)
            if self.day[i]:
                self._row({**count, **dict.fromkeys(self.day[i].values(), -1.0)}, 0, 0)

    def _grains_fit_melts(self) -> None:
        for formula, (names, loads) in self.setup.loads.items():
            if not loads:
                self._grains_fit_pans(formula, names)
            for k, name in enumerate(names if loads else ()):
                for i in range(len(self.setup.spans)):
                    terms = {self.load[formula, load][i]: -float(load[k]) for load in loads if load[k]}
                    self._row({**terms, self.grain[name][i]: 1.0}, high=0)

    def _grains_fit_pans(self, formula: str, names: Sequence[str]) -> None:
        """Melts of a formula by their mass and their tools alone, all of a span together."""
        s, room = self.setup, self.setup.pan.holds_kg - self.setup.pan.test_pieces_kg + 1e-9
        for i in range(len(s.spans)):
            melts = self.load[formula, ()][i]
            taken = {self.grain[p][i]: s.patterns[p].mass_kg * (1 + s.pan.over_pour) for p in names}
            self._row({**taken, melts: -room}, high=0)
            for of, sets in s.tools:
                if cored := of & set(names):
                    self._row({**{self.grain[p][i]: 1.0 for p in cored}, melts: -float(sets)}, high=0)

    def _wanted(self) -> None:
        s = self.setup
        for pattern, total in s.total.items():
            self._row(dict.fromkeys(self.grain[pattern], 1.0), total, total)
        for bound in s.floors:
            self._row({self.grain[bound.pattern][i]: 1.0 for i in bound.spans}, low=bound.grains)
        for spans, formula, most in s.ceilings:
            self._row({column: 1.0 for i in spans for column in self.melts(i, formula)}, high=most)
        wanted: dict[tuple[int, ...], dict[str, int]] = {}
        for bound in s.floors:
            counts = wanted.setdefault(bound.spans, {})
            counts[bound.pattern] = max(counts.get(bound.pattern, 0), bound.grains)
        for spans, counts in wanted.items():
            self._cuts(spans, counts)

    def _cuts(self, spans: tuple[int, ...], wanted: Mapping[str, int]) -> None:
        """So many melts, and so many evenings, that no plan has fewer of: shares of melts, rounded up."""
        s = self.setup
        least = {f: least_melts(names, loads, wanted) for f, (names, loads) in s.loads.items() if loads}
        for formula, count in least.items():
            if count:
                self._row({column: 1.0 for i in spans for column in self.melts(i, formula)}, low=count)
        each = max((span.melts_each for span in s.spans), default=1)
        there = sum(span.melts_each * len(span.days) for span in (s.spans[i] for i in spans) if span.free)
        evenings = -(-(sum(least.values()) - there) // each)
        if evenings > 0:
            self._row({self.evening[i]: 1.0 for i in spans if not s.spans[i].free}, low=evenings)

    def _kept(self) -> None:
        """What lies there is kept within its limit, and no more is used than has come."""
        s = self.setup
        stretched = self._stretch("held", 0) if "held" in s.elastic else None
        for spans, most in s.held:
            terms = {self.grain[p][i]: s.patterns[p].mass_kg for p in s.total for i in spans}
            self._row(terms | ({stretched: -1.0} if stretched is not None else {}), high=most)
        self._used()
        for window in s.windows:
            self._row({self.grain[p][i]: 1.0 for p in window.patterns for i in window.spans}, high=window.sets)

    def _stretch(self, what: str, place: int) -> int:
        if (what, place) not in self.stretch:
            self.stretch[what, place] = self._column(0, 1e4, whole=False)
        return self.stretch[what, place]

    def _used(self) -> None:
        s = self.setup
        if not s.supplies:
            return
        remelt = {
            f: [self._column(0, kg, whole=False) for _ in s.spans] for f, kg in s.remelt_kg.items() if f in s.loads
        }
        mass = {f: [self._melted(f, i) for i in range(len(s.spans))] for f in s.loads}
        for formula, columns in remelt.items():
            self._row(dict.fromkeys(columns, 1.0), high=s.remelt_kg[formula])
            for i, column in enumerate(columns):
                within = {one: -s.remelt_limit * kg for one, kg in mass[formula][i].items()}
                self._row({**within, column: 1.0}, high=0)
        for supply in s.supplies:
            terms: dict[int, float] = {}
            for formula, share in supply.shares.items():
                for i in supply.spans if formula in mass else ():
                    terms |= {column: share * kg for column, kg in mass[formula][i].items()}
                    if formula in remelt:
                        terms[remelt[formula][i]] = -share
            if "supplies" in s.elastic:
                for place in range(supply.place + 1):
                    terms[self._stretch(supply.ingredient, place)] = -1.0
            self._row(terms, high=supply.there_kg)

    def _melted(self, formula: str, span: int) -> dict[int, float]:
        """What a formula's melts of a span weigh, by column [kg]."""
        s, (names, loads) = self.setup, self.setup.loads[formula]
        grains = {self.grain[p][span]: s.patterns[p].mass_kg * (1 + s.pan.over_pour) for p in names}
        return grains | {self.load[formula, load][span]: s.pan.test_pieces_kg for load in loads or [()]}

    # --- Asked ---------------------------------------------------------------------------------

    def changed(self, pattern: str, span: int, was: int) -> int:
        """A new column: by how many grains a span differs from so many."""
        column = self._column(0, 1e5, whole=False)
        self._row({self.grain[pattern][span]: 1.0, column: -1.0}, high=was)
        self._row({self.grain[pattern][span]: 1.0, column: 1.0}, low=was)
        return column

    def hold(self, cost: Cost, value: float) -> None:
        """Let a cost be no more than that from now on."""
        self._row(cost, high=value + _SLACK)

    def least(self, cost: Cost, seconds: float) -> Solved | None:
        """The plan of the least cost, or the best one found in that time; nothing where there is none.

        Raises
        ------
        OutOfTime
            Time was over before any plan was found, or it was known that there is none.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        if not self._low:  # no evening at all: no column
            return None
        costs = np.zeros(len(self._low))
        for column, each in cost.items():
            costs[column] = each
        row, column_of, value = [], [], []
        for number, (terms, _, _) in enumerate(self._rows):
            row += [number] * len(terms)
            column_of += list(terms)
            value += list(terms.values())
        matrix = coo_array((value, (row, column_of)), shape=(len(self._rows), len(self._low))).tocsr()
        limits = LinearConstraint(matrix, [low for _, low, _ in self._rows], [high for _, _, high in self._rows])
        answer = milp(
            costs,
            integrality=np.array(self._whole),
            bounds=Bounds(self._low, self._high),
            constraints=limits,
            options={"time_limit": max(seconds, 0.05), "mip_rel_gap": 0.0},
        )
        if answer.x is None:
            if answer.status == 1:
                raise OutOfTime(answer.mip_dual_bound if answer.mip_dual_bound is not None else 0.0)
            return None
        return self._read(answer)

    def _read(self, answer: Any) -> Solved:
        x: Floats = answer.x

        def counts(columns: Sequence[int]) -> list[int]:
            return [round(float(x[column])) for column in columns]

        bound = answer.fun if answer.mip_dual_bound is None or answer.status == 0 else answer.mip_dual_bound
        return Solved(
            {p: counts(columns) for p, columns in self.grain.items()},
            {key: counts(columns) for key, columns in self.load.items()},
            counts(self.evening),
            {key: float(x[column]) for key, column in self.stretch.items()},
            x,
            float(bound),
        )

    def evenings_then_melts(self) -> Cost:
        """One cost for both: an evening weighs more than all melts that there can be."""
        more = 1.0 + sum(span.melts_each * max(len(span.days), 1) for span in self.setup.spans)
        return {column: more * each for column, each in self.evenings_cost().items()} | self.melts_cost()

    def in_turn(self, costs: Sequence[tuple[str, Cost, Sequence[Cost]]], watch: "Stopwatch") -> "Answer | None":
        """The least of the first cost, of those plans the least of the second, and so on; nothing where there is none.

        Before each cost stands what it asks for in words, behind it those that are held fast once it is found. Time is
        the clock's, as HiGHS counts it: a search that its time does not end gives the same plan each time.

        Raises
        ------
        OutOfTime
            Time was over before any plan was found.
        """
        solved, gap, stopped = None, 0.0, list[str]()
        for number, (asked, cost, fast) in enumerate(costs):
            share = 1.0 if number == len(costs) - 1 else 0.6
            try:
                found = self.least(cost, share * watch.left)
                bound = found.bound if found else 0.0
            except OutOfTime as late:
                if solved is None:
                    raise
                found, bound = None, late.bound
            solved = found or solved
            if solved is None:
                return None
            value = solved.costs(cost)
            if value > bound + _SLACK:
                gap = max(gap, (value - bound) / value)
                stopped.append(asked)
            for one in fast:
                self.hold(one, solved.costs(one))
        return Answer(solved, gap, tuple(stopped)) if solved else None

    def evenings_cost(self) -> Cost:
        """One for each evening that is not used anyhow."""
        return {self.evening[i]: 1.0 for i, span in enumerate(self.setup.spans) if not span.free}

    def melts_cost(self) -> Cost:
        """One for each melt."""
        return {column: 1.0 for columns in self.load.values() for column in columns}

    def days_cost(self, first: date) -> Cost:
        """For each melt the days that it comes after the first one."""
        return {column: float((day - first).days) for of in self.day for day, column in of.items()}


class Stopwatch:
    """What is left of a time [s]."""

    def __init__(self, seconds: float) -> None:
        self._start, self._seconds = time.monotonic(), seconds

    @property
    def spent(self) -> float:
        """Since the start [s]."""
        return time.monotonic() - self._start

    @property
    def left(self) -> float:
        """Until it is over, at least a little [s]."""
        return max(self._seconds - self.spent, 0.05)
