"""Checks with a scale and a ruler: density of a grain, its missing mass, a lot's balance, moisture."""

import math
from dataclasses import dataclass
from typing import Literal

from app.calc.base.constants import positive
from app.calc.base.errors import GeometryError, OutOfRange
from app.calc.base.notes import Amount, Note
from app.calc.grain.geometries import HOLLOW_CYLINDER, Geometry

ACCEPT_SHARE = 0.95
"""Share of ideal density below which a grain is looked at [-]."""

REJECT_SHARE = 0.85
"""Share of ideal density below which a grain is rejected [-]: larger motors failed there (DARE, TU Delft)."""


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
