"""Hardware to try a search with: the trade's motor, one nozzle narrower, one formula."""

from app.calc.grain.geometry import Grain
from app.calc.motor.assembly import example
from app.calc.propellant.thermochem import BlendState
from app.calc.season.hardware import Case, Formula, Hardware, Nozzle, Pattern


def example_hardware(drills: tuple[float, ...] = (0.0125, 0.0135, 0.0145)) -> Hardware:
    """Give hardware for examples and for trying things out.

    Parameters
    ----------
    drills : tuple of float
        Diameters that throats can be drilled out to [m].

    Returns
    -------
    Hardware
        A case of 47.2 mm bore with room for four grains of 44.45 mm and rated to 7 MPa, a nozzle of 12 mm, a grain of
        65/35 with sorbitol.

    Notes
    -----
    A state typical of the blend at 68 atm, written down so that examples need no equilibrium.

    References
    ----------
    Common practice, no source; the blend's state as in `assembly.example`.

    Examples
    --------
    >>> len(example_hardware().nozzles)
    1
    """
    propellant = example().propellant
    state = BlendState(
        temperature=propellant.temperature,
        pressure=6.89e6,
        gas_molar_mass=0.0225,
        system_molar_mass=propellant.molar_mass,
        condensed_fraction=0.436,
        gamma_frozen=propellant.gamma,
        gamma_effective=propellant.gamma,
        c_star=propellant.c_star,
        c_star_equilibrium=None,
        ideal_isp=None,
        condensed={},
        gas={},
        balance_error=0.0,
        ok=True,
        notes=(),
    )
    return Hardware(
        cases=(Case("the long case", 0.0472, 0.32, 7e6, "the rating in the book", empty_mass=0.7),),
        nozzles=(Nozzle("the narrow nozzle", 0.012, 0.033),),
        patterns=(Pattern("of the usual grain", Grain(0.04445, 0.01905, 0.0762, 0.169), 0.95),),
        formulas=(Formula("65/35 with sorbitol", (state,), propellant.ideal_density, propellant.law, 0.95, 0.90),),
        drills=drills,
    )
