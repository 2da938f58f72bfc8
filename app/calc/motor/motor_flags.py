"""What a reader of a motor's prediction must know: dangers, how good its numbers are, and what they stand on."""

import numpy as np

from app.calc.base.notes import Amount, Note, strong_first
from app.calc.motor.arrays import Arrays, choking_pressure
from app.calc.motor.assembly import Motor
from app.calc.motor.chamber import Burn
from app.calc.motor.nozzle import SEPARATION_RATIO, divergence_factor
from app.calc.propellant.burn_laws import BLEND

SLENDER = 8.0
"""Length over diameter of the propellant from which on it is a concern [-]: published for composites (seen). A public
KNO3/sorbitol motor of five grains, 8.4 times as long as wide, burst (github.com/nakujaproject, Static Test 5)."""

FAILED_DENSITY = 0.85
"""Share of ideal density below which larger motors failed [-]: published (DARE, TU Delft)."""


def flags(
    motor: Motor, a: Arrays, burn: Burn, outside: float, least_port: float | None = None
) -> tuple[Note | str, ...]:
    """Tell what a reader must know of a motor.

    Parameters
    ----------
    motor : Motor
        SI.
    a, burn : Arrays and Burn
        The same motor as arrays, and its march.
    outside : float
        Time that pressure spends outside what the burn law was tested over [s].
    least_port : float, optional
        Ratio of port to throat area below which to warn, a workshop's own mark [-]; nothing where it has none.

    Returns
    -------
    tuple of Note or str
        Strong ones tell of a danger and come first [-].

    Notes
    -----
    Silence is no statement that a motor is safe. Nothing is said of mass flux: for these propellants no figure was
    found from which on it matters; what gas does along the cores is told in `core_flow` and by measured curves.

    References
    ----------
    Beside each mark.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> from app.calc.motor.chamber import march
    >>> arrays = motor_arrays([example()])
    >>> _, burn = next(march(arrays))
    >>> [note.strong for note in flags(example(), arrays, burn, 0.0)]
    []
    """
    law = motor.propellant.law
    pressure = burn.pressure[0, : burn.burnt + 1]
    choked = pressure >= choking_pressure(a)[0]
    peak = float(pressure.max())
    said: list[Note | str] = []
    if law.note:
        said.append(law.note)
    if outside > 0:
        said.append(
            Note(
                "Pressure leaves the burn law's tested range ({low} to {high}) for {long}; the law was carried on "
                "beyond it.",
                {
                    "low": Amount(law.p_min, "pressure"),
                    "high": Amount(law.p_max, "pressure"),
                    "long": Amount(outside, "time"),
                },
                strong=peak > law.p_max,
            )
        )
    if not choked[1:].all():
        said.append("The throat is not choked for part of the burn; thrust there is a rough figure.")
    attached = burn.exit_ratio[0] * pressure >= SEPARATION_RATIO * motor.ambient_pressure
    spent = np.where(choked, burn.weights[0, : burn.burnt + 1], 0.0)
    share = float(spent[~attached].sum() / spent.sum())
    if share > 0.02:  # ignition passes through it in every motor
        said.append(
            f"Flow leaves the nozzle's wall for {100 * share:.0f} % of the burn (exit pressure below "
            f"{SEPARATION_RATIO:g} of ambient, Summerfield's rule): the nozzle is too long for this pressure."
        )
    if least_port is not None and motor.port_to_throat is not None and motor.port_to_throat < least_port:
        said.append(
            Note(
                f"Port to throat ratio {motor.port_to_throat:.2f} is below {least_port:g}, the workshop's own mark: "
                "gas rushes along the cores and may strip them, which raises the first pressure peak; it is not "
                "modelled. A wider core helps.",
                strong=True,
            )
        )
    if motor.slenderness >= SLENDER:
        said.append(
            Note(
                f"The propellant is {motor.slenderness:.1f} times as long as wide. From {SLENDER:g} on that is a "
                "concern (published for composites), and a public motor of five grains, 8.4 times as long as wide, "
                "burst: pressure differs along the cores, and flame may get behind the grains. Neither is modelled.",
                strong=True,
            )
        )
    if early := [grain.breakthrough for grain in motor.grains if grain.breakthrough < 0.999 * grain.web]:
        first = float(np.interp(min(early), burn.depth[0], burn.time[0]))
        said.append(
            Note(
                "The flame bares a part of the wall from about {first} on, while propellant burns beside it: the wall "
                "heats there.",
                {"first": Amount(first, "time")},
                strong=True,
            )
        )
    thin = min(grain.density for grain in motor.grains) / motor.propellant.ideal_density
    if round(thin, 6) < 0.95:  # a grain planned at 0.95 is not below it
        low = f"A grain has {100 * thin:.1f} % of ideal density: voids may open and raise the pressure."
        failed = f" Below {100 * FAILED_DENSITY:.0f} % larger motors failed (published)." * (thin < FAILED_DENSITY)
        said.append(Note(low + failed, strong=thin < FAILED_DENSITY))
    if thin > 1.005:
        said.append("A grain is denser than its blend can be: check its mass and size.")
    if peak > 2 * motor.igniter_pressure and burn.pressure[0, 0] < law.p_min:
        said.append("The igniter's pressure lies below the burn law's range.")
    return strong_first(said)


def assumptions(motor: Motor) -> tuple[Note | str, ...]:
    """Tell what a motor's prediction stands on.

    Parameters
    ----------
    motor : Motor
        SI.

    Returns
    -------
    tuple of Note or str
        One sentence for each [-].

    Notes
    -----
    Of the motor itself; what a range adds stands in `uncertainty`.

    References
    ----------
    Beside each.

    Examples
    --------
    >>> from app.calc.motor.assembly import example
    >>> len(assumptions(example()))
    7
    """
    law = motor.propellant.law
    return (
        f"Burn law: {law.name}, {law.source}."
        + (f" Its bands stand as printed, but for a blend within {BLEND:.0%} of where two meet." if law.joints else ""),
        Note(
            "Rate grows by {grows} from {reference}.",
            {
                "grows": Amount(law.sigma_p, "per_temperature"),
                "reference": Amount(law.reference_temperature, "temperature"),
            },
        ),
        f"c* is {100 * motor.c_star_efficiency:.1f} % of ideal; momentum {100 * motor.nozzle_efficiency:.1f} % after "
        f"friction and particles, {100 * divergence_factor(motor.half_angle):.1f} % after divergence.",
        Note("The igniter brings the chamber to {igniter}.", {"igniter": Amount(motor.igniter_pressure, "pressure")}),
        Note(
            "Ambient pressure {ambient}; grains at {grains}.",
            {
                "ambient": Amount(motor.ambient_pressure, "air_pressure"),
                "grains": Amount(motor.initial_temperature, "temperature"),
            },
        ),
        Note("The throat grows by {growth} over the burn.", {"growth": Amount(motor.throat_growth, "length")})
        if motor.throat_growth
        else "The throat keeps its size over the burn.",
        "All faces regress alike; no erosive burning, no heat lost to the walls.",
    )
