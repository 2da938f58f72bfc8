"""What do the good ones share? Motors that burned well beside those that did not, in sentences with their numbers.

A sentence is said only where the two sides stand apart: enough motors of enough lots on each side, intervals that do
not overlap, and a difference that chance leaves standing after Holm's correction for everything that was looked at.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from app.calc.stats.control_charts import MeanComparison, MeanInterval, Sample, compare_means, mean_interval
from app.calc.stats.multiple_comparisons import exact_chance, holm, share_interval
from app.services.grains.lots import Spread, spread
from app.services.review.burned_motors import Burn
from app.services.review.properties import PROPERTIES, Property

LEAST = 3
"""Motors, and lots behind them, on each side below which nothing is said; Grainbook's own choice."""

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Side:
    """The motors of one side of which a property is known, their values in SI, the lots behind them."""

    burns: list[Burn]
    values: list[float]

    @property
    def lots(self) -> int:
        """How many lots their grains came from."""
        return len({lot for burn in self.burns for lot in burn.lots})

    @property
    def spread(self) -> Spread | None:
        """Number, mean and range."""
        return spread(self.values)

    @property
    def interval(self) -> MeanInterval | None:
        """How well the mean is known; nothing where the scatter is not known."""
        found = self.spread
        return mean_interval(Sample(found.n, found.mean, found.sd), CONFIDENCE) if found and found.sd else None

    @property
    def enough(self) -> bool:
        """Whether there is enough to compare."""
        return len(self.burns) >= LEAST and self.lots >= LEAST


@dataclass(frozen=True)
class Contrast:
    """A property on both sides. `p` is Holm's probability [-]; `significant` whether the sides stand apart."""

    what: Property
    good: Side
    other: Side
    means: MeanComparison | None = None
    p: float | None = None

    @property
    def significant(self) -> bool:
        """Whether the good ones differ in it, as far as that can be told."""
        return self.means is not None and self.means.ranked and self.p is not None and self.p < 1 - CONFIDENCE

    @property
    def scale(self) -> tuple[float, float] | None:
        """Where the middle of all its motors lies, and their usual scatter on one side: what makes one axis of many
        properties; nothing where there is no scatter. In SI."""
        sides = [side.values for side in (self.good, self.other)]
        every, freedom = [v for values in sides for v in values], sum(len(values) - 1 for values in sides if values)
        if freedom < 1:
            return None
        means = [math.fsum(values) / len(values) if values else 0.0 for values in sides]
        squares = math.fsum((v - mean) ** 2 for values, mean in zip(sides, means, strict=True) for v in values)
        return (math.fsum(every) / len(every), math.sqrt(squares / freedom)) if squares > 0 else None

    @property
    def words(self) -> str:
        """What the good ones were, for a contrast that is told."""
        assert self.means is not None, "only what was compared has words"
        return self.what.more if self.means.order > 0 else self.what.less


@dataclass(frozen=True)
class Share:
    """Motors that have one thing in common, beside all the others: how many burned well of how many."""

    noun: str
    name: str
    burns: list[Burn]
    good: int
    others_good: int
    others: int
    low: float
    high: float
    p: float | None = None

    @property
    def enough(self) -> bool:
        """Whether there is enough to compare: motors of several lots inside and outside of it."""
        return self.lots >= LEAST and len(self.burns) >= LEAST and self.others >= LEAST

    @property
    def lots(self) -> int:
        """How many lots their grains came from."""
        return len({lot for burn in self.burns for lot in burn.lots})

    @property
    def more(self) -> bool:
        """Whether more of them burned well than of the others."""
        return self.good * self.others > self.others_good * len(self.burns)

    @property
    def significant(self) -> bool:
        """Whether more, or fewer, of them burned well than of the others, as far as that can be told."""
        return self.p is not None and self.p < 1 - CONFIDENCE


@dataclass(frozen=True)
class Comparison:
    """All that was looked at; `judged` is how many comparisons were made, all of which count in Holm's correction."""

    good: list[Burn]
    other: list[Burn]
    neither: int
    judged: int
    contrasts: list[Contrast] = field(default_factory=list)
    shares: list[Share] = field(default_factory=list)

    @property
    def told(self) -> list[str]:
        """What stands apart beyond chance, each as what completes 'the good ones ...'."""
        words = [contrast.words for contrast in self.contrasts if contrast.significant]
        found = [share for share in self.shares if share.significant]
        more = {share.noun for share in found if share.more}  # of two formulas, the one says what the other would
        return words + [
            f"were {'more' if share.more else 'less'} often of {share.noun} “{share.name}”"
            for share in found
            if share.more or share.noun not in more
        ]

    @property
    def answer(self) -> str:
        """What separates the motors that burned well from those that did not, in a sentence, or that nothing does."""
        told = self.told
        if told:
            listed = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
            return f"Those that burned well {listed}; nothing else known of them differs beyond chance."
        if self.judged:
            return f"Nothing separates good from bad yet: each of {self.judged} comparisons could be chance."
        return (
            f"Nothing can be compared yet: it takes {LEAST} motors of {LEAST} lots that burned well, and as many that "
            "did not."
        )


_THINGS: dict[str, Callable[[Burn], tuple[str, ...]]] = {
    "formula": lambda burn: burn.formulas,
    "pattern": lambda burn: burn.patterns,
    "case": lambda burn: (burn.case,),
    "nozzle": lambda burn: (burn.nozzle,),
}


def compare(burns: list[Burn]) -> Comparison:
    """Compare the motors that burned well with those that did not, in everything that is known of them."""
    good, other = [b for b in burns if b.good], [b for b in burns if b.good is False]
    contrasts = [_contrast(prop, good, other) for prop in PROPERTIES]
    shares = [share for noun in _THINGS for share in _shares(noun, good, other)]
    chances: dict[Any, float] = {c.what.key: c.means.p for c in contrasts if c.means is not None}
    halves = [_halves(share, good, other) for share in shares]
    for share, parting in zip(shares, halves, strict=True):
        if share.enough:
            chances[parting] = exact_chance(
                share.good, len(share.burns) - share.good, share.others_good, share.others - share.others_good
            )
    raised = dict(zip(chances, holm(list(chances.values())), strict=True))
    contrasts = [replace(c, p=raised.get(c.what.key)) for c in contrasts]
    shares = [replace(s, p=raised[parting]) if s.enough else s for s, parting in zip(shares, halves, strict=True)]
    contrasts.sort(key=lambda c: (not c.significant, c.means is None))
    return Comparison(good, other, len(burns) - len(good) - len(other), len(chances), contrasts, shares)


def _halves(share: Share, good: list[Burn], other: list[Burn]) -> frozenset[frozenset[int]]:
    """How a share parts the motors in two; where each pattern has a case of its own, both ask the same question."""
    inside = frozenset(burn.firing_id for burn in share.burns)
    return frozenset({inside, frozenset(burn.firing_id for burn in (*good, *other)) - inside})


def _contrast(prop: Property, good: list[Burn], other: list[Burn]) -> Contrast:
    one, two = _side(prop, good), _side(prop, other)
    found = Contrast(prop, one, two)
    if not (one.enough and two.enough):
        return found
    samples = [_sample(side) for side in (one, two)]
    return (
        replace(found, means=compare_means(samples[0], samples[1], CONFIDENCE))
        if all(s.sd > 0 for s in samples)
        else found
    )


def _side(prop: Property, burns: list[Burn]) -> Side:
    known = [(burn, value) for burn in burns if (value := prop.value(burn)) is not None]
    return Side([burn for burn, _ in known], [value for _, value in known])


def _sample(side: Side) -> Sample:
    found = side.spread
    assert found is not None
    assert found.sd is not None
    return Sample(found.n, found.mean, found.sd)


def _shares(noun: str, good: list[Burn], other: list[Burn]) -> list[Share]:
    """Each formula, pattern, case and nozzle beside the rest; nothing where there is only one."""
    inside: dict[str, list[Burn]] = {}
    for burn in (*good, *other):
        for name in _THINGS[noun](burn):
            inside.setdefault(name, []).append(burn)
    if len(inside) < 2:
        return []
    made = []
    for name, burns in sorted(inside.items(), key=lambda item: item[0].casefold()):
        so = sum(burn.good is True for burn in burns)
        low, high = share_interval(so, len(burns), CONFIDENCE)
        rest = len(good) + len(other) - len(burns)
        made.append(Share(noun, name, burns, so, len(good) - so, rest, low, high))
    return made
