"""What in the figures of a curve can hardly be: its specific impulse, its ratio to what was predicted, its c*.

A unit or a scale that is off shows in them before anything else does; the unit that would explain it is named.
"""

import math
from dataclasses import dataclass

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.base.notes import Amount, Note, joined
from app.calc.motor.impulse import CLASS_LIMITS, impulse_class
from app.calc.record import curve, plausible
from app.calc.record.columns import FORCE_UNITS, READINGS

UNIT_NAMES = {
    "N": "newtons",
    "kN": "kilonewtons",
    "kgf": "kilograms",
    "gf": "grams",
    "lbf": "pounds",
    "ozf": "ounces",
    "counts": "counts of the converter",
    "mV": "millivolts",
    "V": "volts",
}
"""What a force may be in, in words and in the order that is offered."""

FAR_OFF, CLOSE = 2.5, 2.0
"""How far impulse may lie from the prediction before the unit is doubted, and how close another unit must bring it."""

MIXED = 0.12
"""How near, by ratio, another unit must bring the impulse to the prediction for a mix-up of the two to be suspected."""

TOO_GOOD = 1.03
"""c* above this many times the ideal one cannot be: the gauge, the throat or the mass is off."""


@dataclass(frozen=True)
class Motor:
    """What the book knows of the motor: propellant [kg], throats [m], air [Pa], impulse [N s], ideal c* [m/s].

    `ideal_isp_s` is the specific impulse that its blend gives without any loss [s].
    """

    propellant_kg: float
    throat_d_m: float
    throat_after_m: float | None = None
    ambient_pa: float | None = None
    predicted_ns: float | None = None
    ideal_c_star: float | None = None
    ideal_isp_s: float | None = None

    def isp(self, impulse_ns: float) -> float:
        """The specific impulse of an impulse [s]."""
        return impulse_ns / (self.propellant_kg * STANDARD_GRAVITY)

    def can_give(self, impulse_ns: float) -> bool:
        """Whether its propellant can have given an impulse."""
        return plausible.can_be(self.isp(impulse_ns), self.ideal_isp_s)

    def weighs(self, impulse_ns: float | None, burn_time_s: float | None = None) -> float:
        """How likely an impulse is of it, to compare with another one; None is one of an unknown scale."""
        return plausible.likelihood(impulse_ns, self.propellant_kg, self.ideal_isp_s, burn_time_s, self.predicted_ns)


@dataclass(frozen=True)
class Other:
    """A unit that would bring the impulse [N s] to what can be."""

    unit: str
    impulse_ns: float


@dataclass(frozen=True)
class Doubt:
    """Why an impulse can hardly be, and the units that would explain it, likeliest first."""

    words: Note
    others: list[Other]


def letter(impulse_ns: float) -> str:
    """The class of an impulse, and above class O the letter that it would have if the classes went on."""
    if impulse_ns <= max(CLASS_LIMITS.values()):
        return impulse_class(impulse_ns)
    return letter_beyond(impulse_ns)


def letter_beyond(impulse: float) -> str:
    """The letter that an impulse above class O [N s] would have if the classes went on."""
    steps = math.ceil(math.log2(impulse / CLASS_LIMITS["O"]) - 1e-12)
    return chr(ord("O") + steps) if steps <= 11 else "beyond Z"


def others(impulse_ns: float, unit: str, motor: Motor) -> list[Other]:
    """The units that would explain an impulse that can hardly be, likeliest first.

    Of counts and volts it is the known masses, or the force for one of the reading, that may be in another unit: the
    unit is then the one they were meant in, where newtons came of the mass of a kilogram.
    """
    size = FORCE_UNITS.get(unit, FORCE_UNITS["kgf"])
    read = [Other(name, impulse_ns * other / size) for name, other in FORCE_UNITS.items() if other != size]
    fit = [
        one
        for one in read
        if motor.can_give(one.impulse_ns)
        and (not motor.predicted_ns or abs(math.log(one.impulse_ns / motor.predicted_ns)) < math.log(CLOSE))
    ]
    return sorted(fit, key=lambda one: -motor.weighs(one.impulse_ns))


def about_impulse(impulse_ns: float, unit: str, motor: Motor) -> Doubt | None:
    """Why an impulse can hardly be the motor's: its specific impulse, or how far it is from what was predicted."""
    isp, ideal, predicted = motor.isp(impulse_ns), motor.ideal_isp_s or plausible.IDEAL_ISP, motor.predicted_ns
    off = abs(math.log(impulse_ns / predicted)) if predicted else 0.0
    explained = others(impulse_ns, unit, motor)
    mixed = bool(predicted) and any(abs(math.log(one.impulse_ns / (predicted or 1.0))) < MIXED for one in explained)
    parts: list[Note | str] = []
    amounts = {"isp": Amount(isp, "time", 0 if isp >= 10 else 1), "ideal": Amount(ideal, "time", 0)}
    if isp > plausible.OVER * ideal:
        of = "the blend's ideal" if motor.ideal_isp_s else "the ideal of such a blend"
        parts.append(
            Note(f"The specific impulse comes out as {{isp}}; {of} is {{ideal}}, and no motor gives more.", amounts)
        )
    elif isp < plausible.LEAST_ISP:
        amounts["least"] = Amount(plausible.LEAST_ISP, "time", 0)
        words = "The specific impulse comes out as {isp}; a motor that burned whole gives more than {least}."
        parts.append(Note(words, {"isp": amounts["isp"], "least": amounts["least"]}))
    if predicted and (off > math.log(FAR_OFF) or (mixed and off > math.log(CLOSE) / 2)):
        parts.append(f"The impulse is {impulse_ns / predicted:.2g} times the predicted one.")
    if not parts:
        return None
    return Doubt(joined(*parts, _hint(explained, unit)), explained)


def _hint(explained: list[Other], unit: str) -> str:
    if not explained:
        return "Check the unit, the calibration and the range of time."
    first = UNIT_NAMES[explained[0].unit]
    if unit in READINGS:
        return f"Were the known masses, or the force for one of the reading, in {first}?"
    return f"Is it in {first}?"


def about_c_star(found: curve.Figures, motor: Motor) -> list[Note | str]:
    """A word on a c* that is too good."""
    if not (found.c_star and motor.ideal_c_star and found.c_star > TOO_GOOD * motor.ideal_c_star):
        return []
    return [
        Note(
            "c* comes out as {found}; the blend's ideal is {ideal}, so the gauge, the throat or the grains' mass "
            "is off.",
            {"found": Amount(found.c_star, "gas_speed", 0), "ideal": Amount(motor.ideal_c_star, "gas_speed", 0)},
        )
    ]
