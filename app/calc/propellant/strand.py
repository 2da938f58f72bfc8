"""A test piece burned in the open: its rate, how well it is known, and the law's rate at that pressure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calc.base.constants import finite_array, positive
from app.calc.base.errors import OutOfRange
from app.calc.propellant.burn_rate import BurnLaw

COVERAGE = 2.0
"""Expanded uncertainty is this many standard uncertainties, about 95 % (GUM)."""

BY_HAND = 0.10
"""Standard uncertainty of a time started and stopped by hand [s]: 4,304 readings of timekeepers, Am. J. Phys. 87
(2019) 110, 'Manual timing in physics experiments: Error and uncertainty'."""

BY_VIDEO = math.sqrt(2 / 12) / 30
"""Standard uncertainty of a time counted in pictures, 30 a second, one picture unsure at either end [s] (GUM 4.3.7)."""


@dataclass(frozen=True)
class Strand:
    """Rate of regression [m/s], its expanded uncertainty, about 95 % [m/s], and that over the rate [-]."""

    rate: float
    uncertainty: float
    share: float


def strand_rate(length: float, burn_time: float, length_step: float = 1e-4, time_sd: float = BY_HAND) -> Strand:
    """Give the burn rate of a stick that burns from end to end.

    Parameters
    ----------
    length : float
        Between the two marks [m].
    burn_time : float
        From mark to mark [s].
    length_step : float
        Step of the caliper [m].
    time_sd : float
        Standard uncertainty of the time [s].

    Returns
    -------
    Strand
        Rate [m/s] and its expanded uncertainty [m/s], [-].

    Raises
    ------
    OutOfRange
        A length, time or step is not positive, or the length or the time is not told from its own uncertainty.

    Notes
    -----
    Uncertainty of reading only: two marks and one time. A side that burns along, a slanted end, a crack or a
    draught are not in it; burn several sticks and look at how they differ.

    References
    ----------
    r = L/t; JCGM 100 (GUM), 4.3.7 and 5.1.6.

    Examples
    --------
    >>> stick = strand_rate(0.050, 19.5)
    >>> round(1e3 * stick.rate, 2), round(1e3 * stick.uncertainty, 2)
    (2.56, 0.03)
    """
    positive("length", length, "Give the length between the marks.")
    positive("burn_time", burn_time, "Give the time from mark to mark.")
    positive("length_step", length_step, "Give the step of the caliper.")
    positive("time_sd", time_sd, "Give how well the time is known.")
    of_length = length_step * math.sqrt(2 / 12) / length
    of_time = time_sd / burn_time
    share = COVERAGE * math.hypot(of_length, of_time)
    if share >= 1:
        raise OutOfRange(
            "burn_time" if of_time > of_length else "length",
            "is too short to tell from the uncertainty of reading it.",
            "Burn a longer stick, or time it from a video.",
        )
    rate = length / burn_time
    return Strand(rate, share * rate, share)


@dataclass(frozen=True)
class AgainstLaw:
    """The law's rate at that pressure [m/s], rate over law and its uncertainty [-], whether the law was tested there,
    what is to be thought of it ('accept', 'look') and why."""

    law_rate: float
    ratio: float
    uncertainty: float
    in_range: bool
    flag: str
    words: str


USUAL = 0.15
"""A stick this far off the law is looked at again [-]; Grainbook's own choice, common practice has no number."""


def against_law(strand: Strand, law: BurnLaw, pressure: float) -> AgainstLaw:
    """Compare a stick with a law at the pressure it burned in.

    Parameters
    ----------
    strand : Strand
        What was measured [m/s].
    law : BurnLaw
        What is expected.
    pressure : float
        Of the air, absolute [Pa].

    Returns
    -------
    AgainstLaw
        Law's rate [m/s], ratio [-] and words.

    Raises
    ------
    CalcError
        The pressure is not positive.

    Notes
    -----
    The law's own scatter is not known and not in the uncertainty. Air pressure lies below the lowest pressure
    of the published tests (0.103 MPa); the first line is carried on there, and marked. A rate in the open says
    whether a lot burns like another; a chamber's rate does not follow from it.

    References
    ----------
    The law's own `source`.

    Examples
    --------
    >>> from app.calc.propellant.burn_laws import published_law
    >>> found = against_law(strand_rate(0.050, 19.5), published_law("sorbitol"), 101325.0)
    >>> round(found.ratio, 2), found.flag
    (1.0, 'accept')
    """
    expected = float(law.rate(pressure))
    ratio = strand.rate / expected
    off, unsure = ratio - 1, strand.share * ratio
    if abs(off) <= unsure:
        flag, words = "accept", "As the law says, within what this stick can tell."
    elif abs(off) <= USUAL:
        flag, words = "accept", f"{100 * abs(off):.0f} % {'faster' if off > 0 else 'slower'} than the law."
    elif off > 0:
        flag, words = (
            "look",
            f"{100 * off:.0f} % faster than the law: look for a side that burned along, a crack or voids.",
        )
    else:
        flag, words = (
            "look",
            f"{-100 * off:.0f} % slower than the law: look for moisture, a wrong blend or a wrong length.",
        )
    return AgainstLaw(expected, ratio, unsure, bool(law.in_range(pressure)), flag, words)


@dataclass(frozen=True)
class Mean:
    """How many, their mean, and half the width of its 95 % interval; none for a single value."""

    n: int
    mean: float
    half_width: float | None


def mean_of(values: Sequence[float]) -> Mean:
    """Give the mean of a few values and how well it is known.

    Parameters
    ----------
    values : sequence of float
        In any one unit, such as rate over law [-].

    Returns
    -------
    Mean
        Mean and half width of its 95 % interval by Student's t, in the unit of the values.

    Raises
    ------
    OutOfRange
        There is no value.
    CalcError
        A value is not a number.

    Notes
    -----
    Two values give a very wide interval; that is how little two sticks tell.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.

    Examples
    --------
    >>> found = mean_of([1.02, 0.99, 1.00])
    >>> round(found.mean, 4), round(found.half_width, 4)
    (1.0033, 0.0379)
    """
    from scipy.stats import t  # slow to load, and only this page needs it

    found = finite_array("values", values)
    n = len(found)
    if n == 0:
        raise OutOfRange("values", "there is none.", "Give at least one.")
    if n == 1:
        return Mean(1, float(found[0]), None)
    half = float(t.ppf(0.975, n - 1) * found.std(ddof=1) / math.sqrt(n))
    return Mean(n, float(found.mean()), half)
