"""A motor whose blend is read at the motor's own pressure."""

from collections.abc import Callable, Sequence

from app.calc.base.constants import ATM
from app.calc.motor.assembly import Motor
from app.calc.motor.simulation import simulate_many
from app.calc.propellant.thermochem import BlendState, between

USUAL_PRESSURE = 68 * ATM
"""The pressure that published values of these blends are given at [Pa]."""


def at_its_own_pressure(make: Callable[[BlendState], Motor], states: Sequence[BlendState]) -> tuple[Motor, BlendState]:
    """Give a motor with the state that its blend has at the motor's mean pressure.

    Parameters
    ----------
    make : callable
        The motor of a state of its blend.
    states : sequence of BlendState
        At a few pressures, rising [Pa].

    Returns
    -------
    tuple of Motor and BlendState
        The motor, and the state it was made with.

    Raises
    ------
    CalcError
        The motor cannot be put together or marched.

    Notes
    -----
    Marched once with the state at the usual pressure to learn its pressure; c* so changed moves that by a few per cent
    at most, and c* by less than a thousandth again.

    References
    ----------
    `thermochem.between`.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from app.calc.motor.assembly import example
    >>> from app.calc.propellant.thermochem import blend_state
    >>> states = [blend_state({"potassium_nitrate": 0.65, "sorbitol": 0.35}, p) for p in (2e6, 5e6)]
    >>> def make(state):
    ...     return replace(example(), propellant=replace(example().propellant, c_star=state.c_star))
    >>> motor, state = at_its_own_pressure(make, states)
    >>> 2e6 < state.pressure <= 5e6, motor.propellant.c_star == state.c_star
    (True, True)
    """
    first = make(between(states, USUAL_PRESSURE))
    state = between(states, float(simulate_many([first]).mean_pressure[0]))
    return make(state), state
