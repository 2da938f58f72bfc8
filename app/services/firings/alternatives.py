"""What a file of a stand may mean where it does not say: each column, sign and unit with what would come of it.

The file is read once, and the burn found once in the numbers as they stand: impulse goes with the unit, so ten readings
cost no more than one. Nothing is taken: the likely one is marked, and a person chooses.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note, joined
from app.calc.record import load_cell, plausible
from app.calc.record.columns import FORCE_UNITS, READINGS, TIME_UNITS
from app.calc.record.runs import Progress
from app.models.curve import ReadIn
from app.pens import thin
from app.services.firings import doubts, raw_burns
from app.services.firings.doubts import UNIT_NAMES, Motor
from app.services.firings.raw_burns import Burn

TIME_NAMES = {"s": "seconds", "ms": "milliseconds", "us": "microseconds"}
"""What times may be in where nothing says it, in words; minutes are always said."""

CURVE = 120
"""Samples of a small curve."""

UNTARED = 10.0
"""A zero that lies this many times the burn's height from naught is a converter's, no force."""

OFFSET = 0.1
"""Share of the burn's height that a zero of whole numbers lies from naught where it is likely a converter's."""

_SELDOM = {"lbf": -0.5, "kN": -1.5, "ozf": -3.0}  # how much seldomer a unit is than newtons or grams, as a logarithm
_COUNTED = -5.0  # how likely a converter's counts are where whole numbers have such a zero, as a logarithm
_LATER = 0.5  # how much less likely each further column is, as a logarithm
_SPOILT = 3.0  # how much less likely the burn is with stray samples that change it much, as a logarithm
_VOLTS, _MILLIVOLTS = 10.5, 10_500.0
"""What an amplifier gives at most."""


@dataclass(frozen=True)
class Alternative:
    """One way to read a file, and what would come of it, SI.

    `texts` is what choosing it puts into the form of reading, by its fields: column, unit, sign, unit of time. `factor`
    is newtons for one of the reading; where it is None (counts or volts of an unknown scale) the figures are too, and
    the curve is in the readings as they stand. `said` tells that the file itself says this unit, `can_be` that
    the motor's propellant can have given such an impulse.
    """

    texts: dict[str, str]
    column: int
    head: str
    unit: str
    time_unit: str
    turned: bool
    factor: float | None
    burn_time_s: float
    impulse_ns: float | None
    mean_n: float | None
    peak_n: float | None
    isp_s: float | None
    impulse_class: str
    time_s: list[float]
    thrust_n: list[float]
    said: bool
    can_be: bool
    likely: bool
    why: Note | str

    @property
    def unit_words(self) -> str:
        """The unit of the force in words."""
        return UNIT_NAMES[self.unit]

    @property
    def time_words(self) -> str:
        """The unit of time in words."""
        return TIME_NAMES.get(self.time_unit, "minutes")


def alternatives(
    text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None, known: raw_burns.Known | None = None
) -> list[Alternative]:
    """The ways to read a text that the file leaves open, the likely one marked and first; one where it says all.

    What is chosen in `data` of layout, time and rate is kept; columns, signs and units of force are all offered, and
    the units of time where none is chosen. `known` is what `raw_burns.guessed` gives, where that was asked already.
    Weight that leaves an upright stand is not counted.

    Raises
    ------
    Refused
        The text cannot be read so, or there are neither times nor a rate; beside the field.
    """
    layout, guess, heads = known or raw_burns.guessed(text, data)
    found = raw_burns.burns(text, layout, data, raw_burns.tried(guess, data), progress)
    trial = raw_burns.trial_unit(text, layout, data)
    said = data.time_unit or raw_burns.time_unit_said(guess, heads, data)
    units = [said] if said else list(TIME_NAMES)
    offered = [
        (_alternative(burn, unit, time_unit, TIME_UNITS[time_unit] / TIME_UNITS[trial], data, motor, heads), burn)
        for burn in found
        for unit in _units(burn, motor, burn.force != found[0].force or said is None)
        for time_unit in units
    ]
    return _ordered(offered, motor, said is None, data.force_unit)


# --- What comes of each ---------------------------------------------------------------------------


def _units(burn: Burn, motor: Motor, only_said: bool) -> list[str]:
    """The units that a column may be in: the one that is said, and all others where none is or it can hardly be."""
    said = burn.force.unit
    fits = ["counts"] if burn.whole else []
    fits += ["V"] if burn.most <= _VOLTS and not burn.whole else []
    fits += ["mV"] if burn.most <= _MILLIVOLTS else []
    every = [*FORCE_UNITS, *fits]
    if said is None:
        return every
    sure = said in READINGS or only_said or motor.can_give(burn.area * FORCE_UNITS[said])
    return [said] if sure else [said, *(unit for unit in every if unit != said)]


def _factor(unit: str, data: ReadIn) -> float | None:
    """Newtons for one of the reading, where that is known."""
    if unit in FORCE_UNITS:
        return FORCE_UNITS[unit]
    if data.factor is not None:
        return data.factor.si
    try:
        masses = [p.mass.si * STANDARD_GRAVITY for p in data.points]
        return abs(load_cell.calibrate([p.reading for p in data.points], masses).slope)
    except CalcError:
        return None


def _alternative(
    burn: Burn, unit: str, time_unit: str, scale: float, data: ReadIn, motor: Motor, heads: Sequence[str]
) -> Alternative:
    factor = _factor(unit, data)
    drawn = thin(burn.height, CURVE)
    duration = burn.burn_time * scale
    impulse = None if factor is None else burn.area * factor * scale
    texts = {"force_column": str(burn.force.column), "force_unit": unit, "turned": "on" if burn.turned else ""}
    if data.time_column is not None:
        texts["time_unit"] = time_unit
    if burn.cleaned:
        texts["leave_out"] = "on"
    column = burn.force.column
    return Alternative(
        texts=texts,
        column=column,
        head=heads[column - 1] if column <= len(heads) else "",
        unit=unit,
        time_unit=time_unit,
        turned=burn.turned,
        factor=factor,
        burn_time_s=duration,
        impulse_ns=impulse,
        mean_n=None if impulse is None else impulse / duration,
        peak_n=None if factor is None else burn.peak * factor,
        isp_s=None if impulse is None else motor.isp(impulse),
        impulse_class="" if impulse is None else doubts.letter(impulse),
        time_s=((burn.time[drawn] - burn.time[0]) * scale).tolist(),
        thrust_n=(burn.height[drawn] * (factor or 1.0)).tolist(),
        said=burn.force.unit == unit,
        can_be=impulse is None or motor.can_give(impulse),
        likely=False,
        why="",
    )


def _ordered(
    offered: list[tuple[Alternative, Burn]], motor: Motor, open_time: bool, chosen: str | None
) -> list[Alternative]:
    """Likely first, each with why; of units of time that are open, the others for the likely unit of force alone, and
    for the one that was chosen."""

    cleaned = {(burn.force.column, burn.turned) for _, burn in offered if burn.cleaned}
    order = {column: i for i, column in enumerate(dict.fromkeys(one.column for one, _ in offered))}

    def weight(pair: tuple[Alternative, Burn]) -> float:
        one, burn = pair
        lasts = one.burn_time_s if open_time else None
        score = motor.weighs(one.impulse_ns, lasts) + _SELDOM.get(one.unit, 0.0)
        if one.unit == "counts" and one.impulse_ns is None and abs(burn.zero) > OFFSET * burn.peak:
            score = motor.weighs(None, lasts) - motor.weighs(None) + _COUNTED
        score -= _LATER * order[one.column]
        untared = not one.said and abs(burn.zero) > UNTARED * burn.peak
        spoilt = not burn.cleaned and (burn.force.column, burn.turned) in cleaned
        return score - (2e3 if untared and one.unit in FORCE_UNITS else 0.0) - (_SPOILT if spoilt else 0.0)

    ranked = [one for one, _ in sorted(offered, key=lambda pair: -weight(pair))]
    if not ranked:
        return []
    best = ranked[0]
    kept = [
        one
        for one in ranked
        if one.time_unit == best.time_unit or (one.unit in (best.unit, chosen) and one.column == best.column)
    ]
    sure = best.said or best.can_be
    return [replace(one, likely=one is best and sure, why=_why(one, motor)) for one in kept]


def _why(one: Alternative, motor: Motor) -> Note | str:
    """What speaks for a reading, or against it."""
    if one.isp_s is None or one.impulse_ns is None:
        return "It needs known masses, or the force for one of the reading."
    ideal = motor.ideal_isp_s or plausible.IDEAL_ISP
    amounts = {"ideal": Amount(ideal, "time", 0), "least": Amount(plausible.LEAST_ISP, "time", 0)}
    if one.isp_s > plausible.OVER * ideal:
        words = "More than the blend's ideal specific impulse, {ideal}: no motor gives that."
        return Note(words, {"ideal": amounts["ideal"]})
    if one.isp_s < plausible.LEAST_ISP:
        words = "Less than the specific impulse of a motor that burned whole, {least}."
        return Note(words, {"least": amounts["least"]})
    fits = Note("Its specific impulse lies between {least} and the blend's ideal, {ideal}.", amounts)
    if not motor.predicted_ns:
        return fits
    return joined(fits, f"The impulse is {one.impulse_ns / motor.predicted_ns:.2g} times the predicted one.")
