"""Whether a property of motors and what they delivered of the predicted impulse go together; no cause is told."""

from dataclasses import dataclass

from app.calc.stats.multiple_comparisons import holm
from app.calc.stats.rank_correlation import ENOUGH_PAIRS as PAIRS
from app.calc.stats.rank_correlation import Association, rank_association
from app.services.review.burned_motors import Burn
from app.services.review.properties import PROPERTIES, Property

ENOUGH_PAIRS = PAIRS
"""Motors below which nothing is said."""

ENOUGH_LOTS = 5
"""Lots behind the motors below which nothing is said: motors of one lot are alike in most things; our own choice."""

CONFIDENCE = 0.95

SHOWN_PROPERTIES = ("density", "cure", "cast_humidity", "humidity", "gain", "mass_spread", "pan")


@dataclass(frozen=True)
class PropertyAssociation:
    """A property beside what was delivered: motors that have both, lots behind them, the measure and what it says.

    `p` is the probability [-] by chance alone, raised by Holm for the number of properties looked at; `significant`
    says whether they go together as far as that can be told.
    """

    what: Property
    burns: list[Burn]
    lots: int
    measure: Association | None
    p: float | None
    significant: bool
    words: str

    @property
    def note(self) -> str:
        """What it says, in two or three words."""
        if self.significant:
            return "goes together"
        return "too few" if self.measure is None else "no more than chance"

    @property
    def x(self) -> list[float]:
        """The property of each motor, in SI."""
        return [value for burn in self.burns if (value := self.what.value(burn)) is not None]

    @property
    def y(self) -> list[float]:
        """Measured over predicted impulse of each motor [-]."""
        return [ratio for burn in self.burns if (ratio := burn.impulse.ratio) is not None]


def associations(burns: list[Burn]) -> list[PropertyAssociation]:
    """Every property beside what was delivered, those that go together first."""
    shown = [prop for prop in PROPERTIES if prop.key in SHOWN_PROPERTIES]
    known = {
        prop.key: [b for b in burns if b.impulse.ratio is not None and prop.value(b) is not None] for prop in shown
    }
    measures = {prop.key: measure for prop in shown if (measure := _measure(prop, known[prop.key])) is not None}
    raised = dict(zip(measures, holm([m.p for m in measures.values()]), strict=True))
    seen = [_seen(prop, known[prop.key], measures.get(prop.key), raised.get(prop.key)) for prop in shown]
    return sorted(seen, key=lambda s: (not s.significant, s.measure is None))


def answer(seen: list[PropertyAssociation]) -> str:
    """What goes together beyond chance, or that nothing does, or that there are too few motors to say."""
    told = [s for s in seen if s.significant and s.measure is not None]
    judged = sum(s.measure is not None for s in seen)
    if told:
        said = [f"that {s.what.more} delivered {'more' if s.measure and s.measure.rho > 0 else 'less'}" for s in told]
        first = f"Motors {said[0]} of what was predicted"
        rest = "".join(f", those {one}" for one in said[1:])
        left = judged - len(told)
        return f"{first}{rest}{f'; of {left} other things nothing can be told from chance' if left else ''}."
    if judged:
        which = f"None of the {judged} things" if judged > 1 else "The one thing"
        return f"{which} that could be looked at goes together with what motors delivered, beyond chance."
    return f"Too few to say: it takes {ENOUGH_PAIRS} motors of {ENOUGH_LOTS} lots with a measured impulse."


def _lots(burns: list[Burn]) -> int:
    return len({lot for burn in burns for lot in burn.lots})


def _measure(prop: Property, burns: list[Burn]) -> Association | None:
    x, y = [prop.value(b) or 0.0 for b in burns], [b.impulse.ratio or 0.0 for b in burns]
    if len(burns) < ENOUGH_PAIRS or _lots(burns) < ENOUGH_LOTS or len(set(x)) < 2 or len(set(y)) < 2:
        return None
    return rank_association(x, y, CONFIDENCE)


def _seen(prop: Property, burns: list[Burn], measure: Association | None, p: float | None) -> PropertyAssociation:
    lots = _lots(burns)
    if measure is None or p is None:
        return PropertyAssociation(prop, burns, lots, None, None, False, _too_few(prop, burns, lots))
    significant = p < 1 - CONFIDENCE and (measure.low > 0) == (measure.high > 0)
    among = f"Among {len(burns)} motors of {lots} lots"
    if significant:
        which = "more" if measure.rho > 0 else "less"
        words = f"{among}, those that {prop.more} delivered {which} of what was predicted, by rank."
    else:
        words = f"{among} no going together can be told from chance."
    return PropertyAssociation(prop, burns, lots, measure, p, significant, words)


def _too_few(prop: Property, burns: list[Burn], lots: int) -> str:
    if len(burns) < ENOUGH_PAIRS or lots < ENOUGH_LOTS:
        have = "no motor has" if not burns else f"{len(burns)} {'motor has' if len(burns) == 1 else 'motors have'}"
        of = f", of {lots} {'lot' if lots == 1 else 'lots'}" if burns else ""
        return (
            f"Too few to say: {have} both this and a measured impulse{of}. From {ENOUGH_PAIRS} motors of {ENOUGH_LOTS} "
            f"lots on something is said. {prop.lacks}"
        )
    return "It is the same for all of them, so nothing can go together with it."
