"""What motors delivered of what was predicted: by lot, formula, pattern or case, and over time."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from app.calc.stats.control_charts import MeanInterval, Sample, mean_interval
from app.calc.stats.multiple_comparisons import Pair, compare_all
from app.services.grains import lots
from app.services.grains.lots import Control, Spread, spread
from app.services.review.burned_motors import Beside, Burn

BY = {"formula": "Formula", "pattern": "Pattern", "case": "Case", "lot": "Lot"}
"""What motors can be grouped by."""

COMPARED = 12
"""Groups compared with one another at most: more comparisons leave nothing that could stand."""

SHOWN = 60
"""Motors in a chart over time; the newest ones."""

_NAMES: dict[str, Callable[[Burn], tuple[str, ...]]] = {
    "formula": lambda burn: burn.formulas,
    "pattern": lambda burn: burn.patterns,
    "case": lambda burn: (burn.case,),
    "lot": lambda burn: burn.lots,
}


@dataclass(frozen=True)
class Known:
    """Measured over predicted [-] of some motors: spread and mean, and from two on how well the mean is known.

    Values that are all alike say nothing of their scatter: they leave no interval either.
    """

    spread: Spread
    interval: MeanInterval | None

    @property
    def sample(self) -> Sample | None:
        """The sample for comparisons; nothing where the scatter is not known."""
        return Sample(self.spread.n, self.spread.mean, self.spread.sd) if self.spread.sd else None


def known(values: Iterable[float | None]) -> Known | None:
    """Mean and 95 % interval of the values that are there; nothing for none."""
    found = spread(value for value in values if value is not None)
    if found is None:
        return None
    return Known(found, mean_interval(Sample(found.n, found.mean, found.sd)) if found.sd else None)


@dataclass(frozen=True)
class Group:
    """Motors that have one thing in common, and what they delivered of each predicted figure."""

    name: str
    burns: list[Burn]
    impulse: Known | None
    burn_time: Known | None
    peak_pressure: Known | None

    @property
    def newest(self) -> datetime:
        """When its last motor was fired."""
        return max(burn.fired_at for burn in self.burns)


def names(burn: Burn, by: str) -> tuple[str, ...]:
    """The groups that a motor belongs to; more than one where it held grains of several lots or patterns."""
    return _NAMES[by](burn)


def groups(burns: list[Burn], by: str) -> list[Group]:
    """Motors by what they have in common; lots newest firing first, all else by name."""
    found: dict[str, list[Burn]] = {}
    for burn in burns:
        for name in names(burn, by):
            found.setdefault(name, []).append(burn)
    made = [_group(name, inside) for name, inside in found.items()]
    if by == "lot":
        return sorted(made, key=lambda group: group.newest, reverse=True)
    return sorted(made, key=lambda group: group.name.casefold())


def _group(name: str, burns: list[Burn]) -> Group:
    def ratios(figure: Callable[[Burn], Beside]) -> Known | None:
        return known(figure(burn).ratio for burn in burns)

    return Group(
        name, burns, ratios(lambda b: b.impulse), ratios(lambda b: b.burn_time), ratios(lambda b: b.peak_pressure)
    )


@dataclass(frozen=True)
class Order:
    """Two groups of which the first delivered more of the predicted impulse than the second."""

    more: Group
    less: Group
    pair: Pair


@dataclass(frozen=True)
class Comparison:
    """Groups compared by impulse with one another: those with two values or more, `COMPARED` at most."""

    compared: list[Group]
    pairs: int
    orders: list[Order]
    left_out: list[Group]
    alone: list[Group]


def compare(found: list[Group]) -> Comparison:
    """Which groups stand apart; by default none does."""
    samples = [(group, group.impulse.sample) for group in found if group.impulse is not None]
    able = [(group, sample) for group, sample in samples if sample is not None]
    taken, rest = able[:COMPARED], able[COMPARED:]
    pairs = compare_all([sample for _, sample in taken])
    orders = []
    for pair in pairs:
        first, second = taken[pair.first][0], taken[pair.second][0]
        if pair.order:
            orders.append(Order(first, second, pair) if pair.order > 0 else Order(second, first, pair))
    alone = [group for group, sample in samples if sample is None]
    return Comparison([group for group, _ in taken], len(pairs), orders, [group for group, _ in rest], alone)


def answer(found: Comparison, noun: str) -> str:
    """Whether one group delivers more than another, in a sentence."""
    if len(found.compared) < 2:
        return f"Nothing can be compared yet: it takes two {noun}s with two measured firings each that are not alike."
    if not found.orders:
        if found.pairs == 1:
            return f"The two {noun}s do not stand apart, so no order can be told."
        return f"The {len(found.compared)} {noun}s do not stand apart, so no order can be told."
    shown = found.orders if len(found.orders) < 4 else found.orders[:2]
    told = [f"{order.more.name} delivered more of what was predicted than {order.less.name}" for order in shown]
    more = len(found.orders) - len(shown)
    words = " and ".join(told) + (f", and {more} more pairs stand apart" if more else "")
    left = found.pairs - len(found.orders)
    return words + (f"; of {left} other {'pair' if left == 1 else 'pairs'} no order can be told." if left else ".")


def over_time(burns: list[Burn]) -> Control | None:
    """Measured over predicted impulse of the newest motors in order of time, judged by their own scatter."""
    values = [(burn.motor_code, burn.impulse.ratio) for burn in burns]
    measured = [(code, ratio) for code, ratio in values if ratio is not None]
    return lots.control(measured[-SHOWN:], "motors")
