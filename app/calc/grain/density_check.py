"""Checks with a scale and a ruler: density of a grain, its missing mass, a lot's balance, moisture."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from app.calc.base.constants import positive
from app.calc.base.errors import GeometryError, OutOfRange
from app.calc.base.notes import Amount, Note, joined
from app.calc.grain.geometries import HOLLOW_CYLINDER, Geometry

ACCEPT_SHARE = 0.95
"""Share of ideal density below which a grain is looked at [-]."""

REJECT_SHARE = 0.85
"""Share of ideal density below which a grain is rejected [-]: larger motors failed there (DARE, TU Delft)."""

ONE_STEP = 0.001
"""A gain of one step of the scale below this share of the mass is not taken for water [-]: Grainbook's own choice."""

COVERAGE = 2.0
"""Expanded uncertainty is this many standard uncertainties, about 95 % (GUM)."""

Verdict = Literal["accept", "look", "reject"]


@dataclass(frozen=True)
class GrainCheck:
    """What a scale and a ruler say of one grain.

    Attributes
    ----------
    mass : float
        Without the tube [kg].
    volume : float
        From the outside measures [m³].
    density, ideal_density : float
        [kg/m³]
    share : float
        Density over ideal density [-].
    missing_mass : float
        Mass short of a grain without voids [kg]; negative when there is too much.
    void_volume : float
        Estimate: that mass over the ideal density, never below zero [m³].
    density_uncertainty, share_uncertainty : float
        Expanded, about 95 %, from the steps of scale and ruler alone [kg/m³], [-].
    verdict : str
        'accept', 'look' or 'reject'.
    reasons : tuple of Note or str
        Why, in words.
    """

    mass: float
    volume: float
    density: float
    ideal_density: float
    share: float
    missing_mass: float
    void_volume: float
    density_uncertainty: float
    share_uncertainty: float
    verdict: Verdict
    reasons: tuple[Note | str, ...]


def check_grain(
    mass: float,
    outer_d: float,
    core_d: float,
    length: float,
    ideal_density: float,
    accept_share: float = ACCEPT_SHARE,
    reject_share: float = REJECT_SHARE,
    mass_resolution: float = 1e-4,
    length_resolution: float = 1e-4,
    expected_mass: float | None = None,
    tube_tare: float = 0.0,
    geometry: Geometry = HOLLOW_CYLINDER,
) -> GrainCheck:
    """Judge a grain by its density.

    Parameters
    ----------
    mass : float
        As weighed [kg].
    outer_d, core_d, length : float
        Outer diameter, core diameter (0 for none) and length of the propellant [m].
    ideal_density : float
        Density of the blend without voids [kg/m³].
    accept_share, reject_share : float
        Shares of ideal density below which to look at it, and below which to reject it [-].
    mass_resolution, length_resolution : float
        Step of the scale [kg] and of the ruler or caliper [m].
    expected_mass : float, optional
        What the grain was planned to weigh, without its tube [kg].
    tube_tare : float
        Mass of the casting tube if it was weighed with the grain [kg].
    geometry : Geometry
        What the core's diameter is of.

    Returns
    -------
    GrainCheck
        Density [kg/m³], share of ideal [-], missing mass [kg], void estimate [m³], verdict and reasons.

    Raises
    ------
    GeometryError
        If the core is not smaller than the grain, or a size is not positive.
    OutOfRange
        If a mass, density, step or limit is impossible, or the tube weighs as much as the whole.

    Notes
    -----
    Uncertainty is that of reading only (a rectangular spread over one step of each instrument); a tapered or
    off-centre core is not seen. A void near the core and many small bubbles weigh the same. A full weight
    does not make a grain safe.

    References
    ----------
    0.85: Delft Aerospace Rocket Engineering (DARE, TU Delft), on failures of larger motors; 0.95: common
    practice, no source. Uncertainty: JCGM 100 (GUM), 4.3.7 and 5.1.2.

    Examples
    --------
    >>> grain = check_grain(0.1690, 0.04445, 0.01905, 0.0762, 1841.0)
    >>> round(grain.share, 3), grain.verdict
    (0.951, 'accept')
    """
    _check_sizes(outer_d, core_d, length)
    positive("ideal_density", ideal_density, "Give a density above zero.")
    positive("mass_resolution", mass_resolution, "Give a mass above zero.")
    positive("length_resolution", length_resolution, "Give a length above zero.")
    if not (0 < reject_share <= accept_share <= 1):
        raise OutOfRange(
            "accept_share",
            f"limits of {accept_share} and {reject_share} contradict each other.",
            "Give 0 < reject limit <= accept limit <= 1.",
        )
    net = _net_mass(mass, tube_tare)
    volume = geometry.volume(outer_d, core_d, length)
    density = net / volume
    share = density / ideal_density
    weighings = 2 if tube_tare > 0 else 1
    relative = math.hypot(
        mass_resolution * math.sqrt(weighings) / math.sqrt(12) / net,
        _volume_uncertainty(geometry, (outer_d, core_d, length), length_resolution),
    )
    spread = COVERAGE * relative * share
    missing = ideal_density * volume - net
    verdict, reasons = _judge(share, spread, accept_share, reject_share)
    if expected_mass is not None:
        positive("expected_mass", expected_mass, "Give a mass above zero.")
        reasons.append(_against_plan(net, expected_mass))
    return GrainCheck(
        mass=net,
        volume=volume,
        density=density,
        ideal_density=ideal_density,
        share=share,
        missing_mass=missing,
        void_volume=max(missing / ideal_density, 0.0),
        density_uncertainty=COVERAGE * relative * density,
        share_uncertainty=spread,
        verdict=verdict,
        reasons=tuple(reasons),
    )


def _check_sizes(outer_d: float, core_d: float, length: float) -> None:
    for field, size in (("outer_d", outer_d), ("length", length)):
        if not (math.isfinite(size) and size > 0):
            raise GeometryError(
                field, Note("{size} is not possible.", {"size": Amount(size, "length")}), "Give a size above zero."
            )
    if not (math.isfinite(core_d) and core_d >= 0):
        raise GeometryError(
            "core_d",
            Note("{core} is not possible.", {"core": Amount(core_d, "length")}),
            "Give the core, or 0 for none.",
        )
    if core_d >= outer_d:
        raise GeometryError(
            "core_d",
            Note(
                "a core of {core} does not fit in a grain of {grain}.",
                {"core": Amount(core_d, "length"), "grain": Amount(outer_d, "length")},
            ),
            "Check which diameter is which.",
        )


def _net_mass(mass: float, tube_tare: float) -> float:
    positive("mass", mass, "Give a mass above zero.")
    if not math.isfinite(tube_tare) or tube_tare < 0:
        fault = Note("a tube of {tube} is not possible.", {"tube": Amount(tube_tare, "mass")})
        raise OutOfRange("tube_tare", fault, "Give 0 or its mass.")
    if tube_tare >= mass:
        raise OutOfRange(
            "tube_tare",
            Note(
                "the tube ({tube}) weighs as much as the whole ({whole}).",
                {"tube": Amount(tube_tare, "mass"), "whole": Amount(mass, "mass")},
            ),
            "Check whether the grain was weighed with its tube.",
        )
    return mass - tube_tare


def _volume_uncertainty(geometry: Geometry, sizes: tuple[float, float, float], step: float) -> float:
    """Standard uncertainty of a volume over the volume [-], each size read to a step (GUM 5.1.2)."""
    moved = []
    for which in range(3):
        more, less = (tuple(s + sign * step / 2 * (i == which) for i, s in enumerate(sizes)) for sign in (1, -1))
        moved.append((geometry.volume(*more) - geometry.volume(*less)) / math.sqrt(12))
    return math.hypot(*moved) / geometry.volume(*sizes)


def _judge(share: float, spread: float, accept: float, reject: float) -> tuple[Verdict, list[Note | str]]:
    measured = f"{100 * share:.1f} % of ideal density (reading uncertainty {100 * spread:.1f} %)"
    if share > 1 + spread:
        return "look", [
            f"{measured}: denser than the blend can be. Check the measures, the tube's tare and the formula."
        ]
    if share < reject:
        verdict: Verdict = "reject"
        reasons: list[Note | str] = [f"{measured}, below {100 * reject:.0f} %: voids or gas enough to burst a motor."]
    elif share < accept:
        verdict = "look"
        reasons = [f"{measured}, below {100 * accept:.0f} %: look for voids, bubbles and a chipped end."]
    else:
        verdict = "accept"
        reasons = [f"{measured}, at or above {100 * accept:.0f} %."]
    for limit, name in ((accept, "look at it"), (reject, "reject")):
        if abs(share - limit) < spread:
            reasons.append(
                f"Too near the limit of {100 * limit:.0f} % ({name}) for these instruments to tell: "
                "measure again, more finely."
            )
    return verdict, reasons


def _against_plan(mass: float, expected: float) -> Note:
    gap = mass - expected
    side = "lighter" if gap < 0 else "heavier"
    words = f"{{gap}} {side} than planned ({100 * abs(gap) / expected:.1f} %)."
    return Note(words, {"gap": Amount(abs(gap), "mass")})


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
