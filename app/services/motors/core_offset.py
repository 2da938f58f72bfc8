"""A core cast off centre: the motor as it should be beside the motor as it is."""

from dataclasses import dataclass, replace

import numpy as np
from sqlmodel import Session

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.case import casing
from app.calc.case.casing import CaseMargin
from app.calc.grain.core_offset import CoreOffsetFault, askew, core_offset_fault
from app.calc.grain.geometries import HOLLOW_CYLINDER
from app.calc.grain.geometry import Grain
from app.calc.motor.simulation import MotorRun, simulate
from app.errors import Refused
from app.models import Case
from app.models.core_offset import CoreOffsetIn
from app.services.hardware import closures
from app.services.learning import learning
from app.services.learning.prediction_record import LearnedFactors
from app.services.motors import designs, prediction
from app.services.motors.motor_setup import Burning

HOT_SHARE = 0.05
"""Pressure below this share of its peak counts as gone: as burn time is counted in thrust."""

_OFFSETS = {"offset_a": "offset_fore", "offset_b": "offset_aft", "burns_core": "pattern_id"}


@dataclass(frozen=True)
class Comparison:
    """What a core off centre does.

    Attributes
    ----------
    intended, cast : MotorRun
        The motor with every core on its axis, and as it was cast.
    fault : CoreOffsetFault
        Of one grain.
    case : Case
        What stands around it.
    margin : CaseMargin
        Of the case, at the peak of the motor as cast.
    hottest, hot_yield : float
        The highest temperature that the case's strength is known at [K], and the pressure at which its wall would
        begin to yield there [Pa].
    thinnest, web : float
        Propellant between core and wall where it is thinnest, and on the axis [m].
    bared_at, gone_at : float
        When the wall is first bared, and when the pressure is gone [s].
    pressure_then : float
        In the chamber when the wall is first bared [Pa].
    time, share : ndarray
        Share of the wall beside a grain so cast that lies bare, over time [s], [-].
    quarter_at, half_at : float or None
        When a quarter and half of it lies bare while there is pressure [s].
    """

    intended: MotorRun
    cast: MotorRun
    fault: CoreOffsetFault
    case: Case
    margin: CaseMargin
    hottest: float
    hot_yield: float
    thinnest: float
    web: float
    bared_at: float
    gone_at: float
    pressure_then: float
    time: Floats
    share: Floats
    quarter_at: float | None
    half_at: float | None
    taught: LearnedFactors

    @property
    def early(self) -> bool:
        """Whether the wall is bared before the web is through everywhere."""
        return self.fault.breakthrough < 0.999 * self.fault.intended_web

    @property
    def bare_for(self) -> float:
        """How long bared wall sees the flame under pressure [s]."""
        return max(self.gone_at - self.bared_at, 0.0)


def compare(session: Session, data: CoreOffsetIn) -> Comparison:
    """The motor with its cores on the axis beside the same with some of them off it.

    Raises
    ------
    Refused
        The motor cannot be, its cores are not round, one would break through the side, or more grains are faulty than
        there are.
    """
    if data.faulty > data.count:
        raise Refused(f"There are {data.count} grains in this motor; no more of them can be so cast.", field="faulty")
    setup = designs.setup_of(session, data)
    if data.core_d is not None:
        setup = replace(setup, grains=[_cored(one, data.core_d.si) for one in setup.grains])
    grain = _round(setup.grains[0])
    try:
        fault = core_offset_fault(grain, data.offset_fore.si, data.offset_aft.si)
        taught = learning.factors(session, setup.formula, setup.case)
        motor, _ = prediction.motor_of(session, setup, taught)
        crooked = askew(grain, fault)
        rest = motor.grains[data.faulty :]
        intended, cast = simulate(motor), simulate(replace(motor, grains=(crooked,) * data.faulty + rest))
        margin = closures.margin(setup.case, cast.peak_pressure)
        hottest = casing.hottest_known(setup.case.material)
        hot_strength, _ = casing.strengths(setup.case.material, hottest, setup.case.yield_strength_pa)
    except CalcError as error:
        if error.field in _OFFSETS:
            raise Refused(error.sentence, field=_OFFSETS[error.field]) from error
        raise prediction.refusal(error, setup) from error
    bare = np.interp(cast.depth, fault.depth, fault.wall_bared, right=1.0)
    under_pressure = cast.pressure >= HOT_SHARE * cast.peak_pressure
    gone_at = float(cast.time[np.flatnonzero(under_pressure)[-1]])
    bared_at = float(np.interp(fault.breakthrough, cast.depth, cast.time))

    def reached(share: float) -> float | None:
        found = np.flatnonzero((bare >= share) & (cast.time <= gone_at))
        return float(cast.time[found[0]]) if found.size else None

    furthest = max(abs(data.offset_fore.si), abs(data.offset_aft.si))
    web = (grain.outer_d - grain.core_d) / 2
    return Comparison(
        intended=intended,
        cast=cast,
        fault=fault,
        case=setup.case,
        margin=margin,
        hottest=hottest,
        hot_yield=cast.peak_pressure * hot_strength / margin.bore_stress,
        thinnest=web - furthest,
        web=web,
        bared_at=bared_at,
        gone_at=gone_at,
        pressure_then=float(np.interp(bared_at, cast.time, cast.pressure)),
        time=cast.time,
        share=bare,
        quarter_at=reached(0.25),
        half_at=reached(0.5),
        taught=taught,
    )


def _round(one: Burning) -> Grain:
    """The grain in closed form, which only one with a round core has."""
    if not isinstance(one.grain, Grain):
        raise Refused(
            f"A core off the axis is worked out for round cores only; this is a {one.geometry}.", field="pattern_id"
        )
    return one.grain


def _cored(one: Burning, core_d: float) -> Burning:
    """The same grain with the core that was measured, as dense as before."""
    grain = _round(one)
    room = HOLLOW_CYLINDER.section(grain.outer_d, core_d) / HOLLOW_CYLINDER.section(grain.outer_d, grain.core_d)
    if room <= 0:
        raise Refused("The core is as wide as the grain; measure both again.", field="core_d")
    return replace(one, grain=replace(grain, core_d=core_d, mass=grain.mass * room), core_d=core_d)
