"""Where the mass of a lot went, and what its grains took up from the air."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from app.calc.base.constants import positive
from app.calc.base.errors import OutOfRange
from app.calc.base.notes import Amount, Note, joined
from app.calc.grain.density_check import COVERAGE

ONE_STEP = 0.001
"""A gain of one step of the scale below this share of the mass is not taken for water [-]: Grainbook's own choice."""


@dataclass(frozen=True)
class MassBalance:
    """Where the mass of a lot went.

    Attributes
    ----------
    weighed_in, accounted : float
        What went into the pot; grains, test pieces and leftovers together [kg].
    loss : float
        The difference [kg].
    loss_share : float
        Over what was weighed in [-]; without bound where nothing was and something came out.
    tolerance : float
        What the scale alone can explain, about 95 % [kg].
    impossible : bool
        True when more came out than went in, beyond the tolerance.
    words : Note or str
        The same, said.
    """

    weighed_in: float
    accounted: float
    loss: float
    loss_share: float
    tolerance: float
    impossible: bool
    words: Note | str


def lot_mass_balance(
    weighed_in: Iterable[float],
    grains: Iterable[float],
    test_pieces: Iterable[float] = (),
    leftovers: Iterable[float] = (),
    resolution: float = 1e-4,
) -> MassBalance:
    """Balance a lot: weighed in = grains + test pieces + leftovers + loss.

    Parameters
    ----------
    weighed_in : iterable of float
        Each thing put in the pot, remelt included [kg].
    grains, test_pieces, leftovers : iterable of float
        Each thing that came out of it, without tubes [kg].
    resolution : float
        Step of the scale [kg].

    Returns
    -------
    MassBalance
        Loss [kg], its share [-], and whether it is possible.

    Raises
    ------
    OutOfRange
        If nothing was weighed in and nothing came out, or a mass is negative.

    Notes
    -----
    A loss is water, spill and what sticks to the pot; its cause is not told apart. The tolerance takes one
    reading of the scale for each mass.

    References
    ----------
    Conservation of mass; JCGM 100 (GUM), 4.3.7.

    Examples
    --------
    >>> balance = lot_mass_balance([0.260, 0.140], grains=[0.169, 0.170], leftovers=[0.055])
    >>> round(1000 * balance.loss, 3), balance.impossible
    (6.0, False)
    """
    positive("resolution", resolution, "Give a mass above zero.")
    came_in = _masses("weighed_in", weighed_in)
    went_out = [*_masses("grains", grains), *_masses("test_pieces", test_pieces), *_masses("leftovers", leftovers)]
    total, accounted = math.fsum(came_in), math.fsum(went_out)
    if total <= 0 and accounted <= 0:
        raise OutOfRange("weighed_in", "nothing was weighed in.", "Enter the actual masses of the batch.")
    tolerance = COVERAGE * resolution / math.sqrt(12) * math.sqrt(len(came_in) + len(went_out))
    loss = total - accounted
    loss_share = loss / total if total > 0 else -math.inf
    impossible = loss < -tolerance
    words: Note | str
    if impossible:
        words = Note(
            "{gain} more came out than went in: a mass is wrong, a tube was weighed along, or an ingredient was not "
            "entered.",
            {"gain": Amount(-loss, "mass")},
        )
    elif abs(loss) <= tolerance:
        words = "All mass is accounted for, within what the scale can tell."
    else:
        words = Note(
            f"{{loss}} ({100 * loss_share:.1f} %) was lost: water, spill, or left in the pot.",
            {"loss": Amount(loss, "mass")},
        )
    return MassBalance(total, accounted, loss, loss_share, tolerance, impossible, words)


@dataclass(frozen=True)
class MoistureGain:
    """Change of a stored grain's mass: gain [kg], over its mass [-], what the scale cannot tell [kg], in words.

    `real` where the scale can tell it, `wet` where it is a gain that is taken for water.
    """

    gain: float
    share: float
    tolerance: float
    real: bool
    wet: bool
    words: Note | str


def moisture_gain(label_mass: float, new_mass: float, resolution: float = 1e-4) -> MoistureGain:
    """Compare a grain's mass with the one on its label.

    Parameters
    ----------
    label_mass, new_mass : float
        When bagged, and now; both with or both without the tube [kg].
    resolution : float
        Step of the scale [kg].

    Returns
    -------
    MoistureGain
        Gain [kg], its share of the label mass [-], whether the scale can tell it from nothing, and whether it is
        taken for water.

    Raises
    ------
    OutOfRange
        If a mass or the step is not positive.

    Notes
    -----
    A gain that the scale can tell is taken for water; a paper tube takes up water too. One step of the scale is
    not, where it is less than `ONE_STEP` of the mass: a scale need not repeat better than its step.

    References
    ----------
    JCGM 100 (GUM), 4.3.7. A scale's repeatability within its permitted error of half a step and more: OIML R 76-1
    (from memory). That sugar grains draw water from the air is common practice, no source.

    Examples
    --------
    >>> moisture_gain(0.1690, 0.1702).wet, moisture_gain(0.1690, 0.1691).wet
    (True, False)
    """
    positive("label_mass", label_mass, "Give a mass above zero.")
    positive("new_mass", new_mass, "Give a mass above zero.")
    positive("resolution", resolution, "Give a mass above zero.")
    gain = new_mass - label_mass
    tolerance = COVERAGE * resolution / math.sqrt(12) * math.sqrt(2)
    real = abs(gain) > tolerance
    wet = real and gain > 0 and (gain > 1.001 * resolution or gain / label_mass >= ONE_STEP)
    amount = Note(f"{{gain}} ({100 * abs(gain) / label_mass:.2f} %)", {"gain": Amount(abs(gain), "mass", 2)})
    words: Note | str
    if not real:
        words = "No change that this scale can tell."
    elif wet:
        words = joined(amount, "heavier than its label: it has drawn water. Dry it or set it aside.")
    elif gain > 0:
        words = joined(amount, "heavier than its label, one step of the scale: weigh it again in a few days.")
    else:
        words = joined(amount, "lighter than its label: look for a chip, a lost tube, or a wrong label.")
    return MoistureGain(gain, gain / label_mass, tolerance, real, wet, words)


def _masses(field: str, masses: Iterable[float]) -> list[float]:
    found = list(masses)
    for mass in found:
        if not math.isfinite(mass) or mass < 0:
            fault = Note("a mass of {mass} is not possible.", {"mass": Amount(mass, "mass")})
            raise OutOfRange(field, fault, "Give 0 or more.")
    return found
