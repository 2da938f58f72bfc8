"""How far each input of a prediction is trusted where nothing is known better.

What a workshop is (systematic, wide before any firing) is kept apart from chance between firings and from what its
stand is off in all of them (`fit.partial_pooling`): few firings settle the first, nothing settles the last. Whoever
touches a spread runs `python -m tests.benchmarks.coverage`, which shows how often the 90 % ranges hold for workshops
anywhere in c* 0.80–0.985, nozzle 0.82–0.95, rate × 0.85–1.15.
"""

from dataclasses import dataclass
from math import hypot

from app.calc.base.constants import within
from app.calc.motor.assembly import Motor
from app.calc.propellant.burn_rate import BurnLaw

RATE_SPREAD, BORROWED_RATE = 0.122, 0.18
"""Systematic spread of the burn rate over a published law, and over one measured on another blend [-]: how far this
workshop's propellant may be from it, batch after batch. Assumptions, wide enough that a range holds where the rate is
0.85 to 1.15 times the published one (`tests/benchmarks/coverage.py` shows how often)."""

C_STAR_SPREAD, NOZZLE_SPREAD = 0.12, 0.07
"""Systematic spread of both efficiencies [-]: what a workshop may be, from c* 0.80 to 0.985 and nozzle 0.82 to 0.95,
with the evidence beside the middles in `assembly`. Drawn log-normal, so some draws lie above one: the price of a range
that also holds for the best workshop."""

CHANCE = 0.022
"""How far one firing differs from the next in burn rate, c* and nozzle efficiency each, one standard deviation [-]: an
assumption, replaced by what firings show as they become many. Good motors are taken to differ by 1 to 3 %."""

THROAT_UNWATCHED = 0.05e-3
"""What a throat may differ by for not being measured on the day, cleaned out or knocked since [m]: an assumption."""

THROAT_PER_FIRING = 0.1e-3
"""What a firing may take off a throat whose growth nobody has measured [m]: an assumption."""


@dataclass(frozen=True)
class Spread:
    """One standard deviation of each uncertain input; zero leaves it out.

    Attributes
    ----------
    density : float
        Of the grains, all alike, relative [-]. 0.01: scale and ruler.
    burn_rate : float
        Relative [-]. 0.12: `RATE_SPREAD` and `CHANCE`.
    c_star, nozzle : float
        Efficiencies, relative [-]. 0.12 and 0.07: `C_STAR_SPREAD`, `NOZZLE_SPREAD` and `CHANCE`.
    throat_d, core_d : float
        Diameters [m]. 0.05 mm and 0.15 mm: callipers, and a coring rod that leaves a slightly larger core.
    temperature : float
        Of the grains [K]. 3 K: shade and sun.
    extra_area : float
        Scale of unseen voids and cracks as a share of burning area, one-sided (half normal) [-]. 0.02: no source.
    sigma_p : float
        Of the law's temperature sensitivity, relative [-]. 0.4: what `burn_rate.SIGMA_P` derives lies within its 5 and
        95 % marks. Felt only where grains are not at the law's reference temperature.

    Raises
    ------
    OutOfRange
        A spread that is negative or absurd.

    Notes
    -----
    Relative spreads are drawn log-normal, lengths and temperature normal, all cut at three deviations.

    References
    ----------
    Assumptions of this book, to be replaced by the workshop's own records.
    """

    density: float = 0.01
    burn_rate: float = hypot(RATE_SPREAD, CHANCE)
    c_star: float = hypot(C_STAR_SPREAD, CHANCE)
    nozzle: float = hypot(NOZZLE_SPREAD, CHANCE)
    throat_d: float = 0.05e-3
    core_d: float = 0.15e-3
    temperature: float = 3.0
    extra_area: float = 0.02
    sigma_p: float = 0.4

    def __post_init__(self) -> None:
        for name in ("density", "burn_rate", "c_star", "nozzle", "extra_area", "sigma_p"):
            within(name, getattr(self, name), 0.0, 0.5, "Give a relative spread, for example 0.05.")
        for name in ("throat_d", "core_d"):
            within(name, getattr(self, name), 0.0, 5e-3, "Give a spread in metres.")
        within("temperature", self.temperature, 0.0, 20.0, "Give a spread in kelvin.")


NAMES = {
    "density": "Grain density",
    "burn_rate": "Burn rate",
    "c_star": "c* efficiency",
    "nozzle": "Nozzle efficiency",
    "throat_d": "Throat diameter",
    "core_d": "Core diameter",
    "temperature": "Grain temperature",
    "extra_area": "Unseen voids and cracks",
    "sigma_p": "How the rate grows with heat",
}
"""What each input of `Spread` is called in words."""


def default_spread(motor: Motor) -> Spread:
    """Give the spreads to use where nothing is known better.

    Parameters
    ----------
    motor : Motor
        Its burn law decides how far the burn rate is trusted.

    Returns
    -------
    Spread
        The defaults, systematic spread and chance together; burn rate 0.18 [-] where the law is borrowed.

    Notes
    -----
    Assumptions, shown beside every range.

    References
    ----------
    `Spread`.

    Examples
    --------
    >>> from app.calc.motor.simulation import example
    >>> round(default_spread(example()).burn_rate, 3)
    0.124
    """
    return Spread(burn_rate=hypot(rate_spread(motor.propellant.law), CHANCE))


def rate_spread(law: BurnLaw) -> float:
    """Give the systematic spread of the burn rate to use where nothing is known better.

    Parameters
    ----------
    law : BurnLaw
        Published, own or borrowed.

    Returns
    -------
    float
        One standard deviation, relative [-].

    Notes
    -----
    An own law is trusted as far as a published one: strands and batches differ as much at home.

    References
    ----------
    `Spread`.

    Examples
    --------
    >>> from app.calc.propellant.burn_laws import published_law
    >>> rate_spread(published_law("sucrose"))
    0.122
    """
    return BORROWED_RATE if law.borrowed else RATE_SPREAD


def throat_spread(days: int, firings: int, growth: float | None = None, known_from: int = 0) -> float:
    """Give how far a throat may be from what it was last measured as.

    Parameters
    ----------
    days : int
        Since it was measured [-].
    firings : int
        Through it since then, without a measurement [-].
    growth : float, optional
        What it grew per firing by its own history [m]; nothing where that does not tell.
    known_from : int
        Firings that `growth` stands on [-].

    Returns
    -------
    float
        One standard deviation of the diameter [m].

    Raises
    ------
    OutOfRange
        A count below zero.

    Notes
    -----
    Callipers, to which a day passed adds `THROAT_UNWATCHED` and firings what they may have taken away: all of them
    alike, each `THROAT_PER_FIRING`, or its known growth with the callipers' error of that. The middle is not moved.

    References
    ----------
    Assumptions of this book; quadrature: JCGM 100 (GUM), 5.1.

    Examples
    --------
    >>> [round(1e3 * throat_spread(*since), 2) for since in ((0, 0), (30, 0), (30, 2))]
    [0.05, 0.07, 0.21]
    >>> round(1e3 * throat_spread(30, 2, 0.02e-3, 5), 2)
    0.09
    """
    within("days", days, 0, 1e6, "Give whole days.")
    within("firings", firings, 0, 1e6, "Give a number of firings.")
    callipers = Spread().throat_d
    each = THROAT_PER_FIRING
    if growth is not None and known_from > 0:
        each = hypot(growth, 2**0.5 * callipers / known_from)
    return hypot(callipers, THROAT_UNWATCHED if days or firings else 0.0, firings * each)
