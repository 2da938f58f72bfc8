"""Parachutes: what opens, and when."""

import math
from dataclasses import dataclass

from app.calc.base.constants import within
from app.calc.base.errors import OutOfRange


@dataclass(frozen=True)
class Parachute:
    """A parachute as its drag coefficient sees it.

    Attributes
    ----------
    diameter : float
        Of the circle that the coefficient is based on [m].
    drag_coefficient : float
        On that circle [-].
    """

    diameter: float
    drag_coefficient: float

    @property
    def drag_area(self) -> float:
        """Coefficient times area [m²]."""
        return self.drag_coefficient * math.pi / 4 * self.diameter**2


@dataclass(frozen=True)
class Recovery:
    """What opens, and when.

    Attributes
    ----------
    main, drogue : Parachute or None
        Either may be missing.
    main_height : float or None
        Above the field [m]; the main parachute opens there on the way down, else with the first event.
    after_apogee : float
        Of the first event, where the motor's delay does not make it [s].
    delay : float or None
        From burnout to the motor's ejection charge [s]; it makes the first event where it is given.
    """

    main: Parachute | None = None
    drogue: Parachute | None = None
    main_height: float | None = None
    after_apogee: float = 0.0
    delay: float | None = None

    @property
    def first(self) -> Parachute | None:
        """What the first event opens."""
        return self.drogue or (self.main if self.main_height is None else None)


def checked_recovery(recovery: Recovery) -> Recovery:
    """Refuse a recovery that cannot be.

    Parameters
    ----------
    recovery : Recovery
        Diameters [m], coefficients [-], height [m], times [s].

    Returns
    -------
    Recovery
        The same.

    Raises
    ------
    OutOfRange
        A parachute of no size, a height or time below zero or beyond reason; each names its field.

    Notes
    -----
    Looks at each number alone.

    Examples
    --------
    >>> checked_recovery(Recovery(main=Parachute(0.9, 0.75))).first.diameter
    0.9
    """
    for name, chute in (("main", recovery.main), ("drogue", recovery.drogue)):
        if chute is not None:
            within(f"{name}_diameter", chute.diameter, 0.01, 50, "Measure the parachute.", "length")
            within(f"{name}_coefficient", chute.drag_coefficient, 0.1, 5, "Usual values lie from 0.7 to 2.2.")
    if recovery.main_height is not None:
        within("main_height", recovery.main_height, 1, 20_000, "Give the height above the field.", "altitude")
    if recovery.main is not None and recovery.drogue is not None and recovery.main_height is None:
        raise OutOfRange("main_height", "both parachutes would open at once.", "Give the main one a height.")
    within("after_apogee", recovery.after_apogee, 0, 120, "Count from apogee.", "time")
    if recovery.delay is not None:
        within("delay", recovery.delay, 0, 120, "Count from burnout.", "time")
    return recovery
