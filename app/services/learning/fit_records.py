"""What is kept of each firing for learning, and the key that tells whether it still stands on what is in the book."""

import json
from dataclasses import dataclass

from pydantic import BaseModel
from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlmodel import Session, col

from app.calc.base.notes import Note
from app.models import BuildGrain, Curve, Firing, FiringFit, Grain, MotorBuild
from app.services.book import calculation_key, workshop

CALCULATED_BY = (
    "app.services.stock.blends",
    "app.services.learning.fit_records",
    "app.services.hardware.shapes",
    "app.services.motors.builds",
    "app.services.motors.motor_setup",
    "app.services.motors.prediction",
    "app.services.firings.samples",
    "app.services.firings.certainty",
    "app.services.firings.doubts",
    "app.services.firings.reading",
    "app.services.firings.firing_fits",
)
"""What makes a fit, with all of `app.calc` that these use: any change of them makes every fit anew."""

BY_CELL, BY_HAND = 0.01, 0.03
"""How well an impulse from a curve and one typed repeat from firing to firing [-]: assumptions. What the stand's scale
is off by comes on top, the same for all: `partial_pooling.STAND`; what a record itself leaves in doubt (`certainty`) is
added to a curve's."""

TIME_BY_CELL, TIME_BY_HAND = 0.015, 0.05
"""How well a burn time from a curve and one typed repeat [-]: assumptions."""

FIGURES = ("impulse", "burn time", "peak pressure")
"""What each row of `fit_figures` is of."""

COUNTS = ("good", "weak", "rough", "recovery", "other")
"""Results of firings that burned their grains through the nozzle: the others say nothing of the propellant's rate."""


class Row(BaseModel):
    """One thing a firing says: logarithms of rate [ln(m/s)] and efficiencies [-] mixed so make this value."""

    what: str
    mixture: tuple[float, float, float]
    value: float
    error: float


class LawSeen(BaseModel):
    """A law a P^n from this curve alone: ln r [ln(m/s)] at the fit's pressure, n and covariance, its pressures [Pa]."""

    log_rate: float
    exponent: float
    covariance: list[list[float]]
    low: float
    high: float


class ExpectedHeight(BaseModel):
    """What a flight was expected to reach and its marks [m], none where it cannot fly; `key` says from what."""

    key: str
    mid: float | None = None
    low: float | None = None
    high: float | None = None


class FitRecord(BaseModel):
    """What one firing says, in SI and logarithms, apart from the book's defaults; `how` is 'pressure' or 'figures'.

    `fault` is the kind of the error where the program itself failed: such a fit waits to be tried again. `height` is
    of flights, and kept by `services/firings/heights.py`.
    """

    how: str = "figures"
    pressure_pa: float = 0.0
    rows: list[Row] = []
    law: LawSeen | None = None
    deviation_pa: float | None = None
    correlation: float | None = None
    remarks: list[Note | str] = []
    fault: str = ""
    height: ExpectedHeight | None = None


NO_FIT = ""
"""The key of a row that keeps a flight's expected height alone: nothing was measured that could be fitted."""


def height_in(fit_json: str) -> ExpectedHeight | None:
    """The height in a stored fit, without reading all of it; nothing where there is none, or it cannot be read."""
    try:
        found = json.loads(fit_json).get("height")
        return None if found is None else ExpectedHeight.model_validate(found)
    except (ValueError, AttributeError):
        return None


@dataclass(frozen=True)
class Waiting:
    """A firing whose fit is missing or stands on something that changed since, and the key it is to have."""

    firing_id: int
    key: str


def keys(session: Session, firing_id: int | None = None) -> dict[int, str]:
    """The key that the fit of each firing with something measured must have to count."""
    sigma, made_by = workshop.get(session).rate_per_kelvin_share, calculation_key.name(*CALCULATED_BY)
    grains = (
        select_core(col(BuildGrain.motor_build_id), func.sum(col(Grain.version)).label("grains"))
        .join(Grain, col(Grain.id) == BuildGrain.grain_id)
        .group_by(col(BuildGrain.motor_build_id))
    )
    newest = select_core(col(Curve.firing_id), func.max(col(Curve.id)).label("curve")).group_by(col(Curve.firing_id))
    if firing_id is not None:
        one = select_core(col(Firing.motor_build_id)).where(col(Firing.id) == firing_id)
        grains = grains.where(col(BuildGrain.motor_build_id).in_(one))
        newest = newest.where(col(Curve.firing_id) == firing_id)
    inside, curve = grains.subquery(), newest.subquery()
    query = (
        select_core(
            col(Firing.id),
            col(Firing.version),
            col(MotorBuild.version),
            inside.c.grains,
            curve.c.curve,
            col(Firing.measured_impulse_ns),
            col(Firing.measured_burn_time_s),
            col(Firing.measured_peak_pressure_pa),
        )
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .outerjoin(inside, inside.c.motor_build_id == col(Firing.motor_build_id))
        .outerjoin(curve, curve.c.firing_id == col(Firing.id))
        .where(col(Firing.result).in_(COUNTS))
    )
    if firing_id is not None:
        query = query.where(col(Firing.id) == firing_id)
    return {
        key: f"{made_by}; curve {read or 0}, firing {firing}, motor {build}, grains {held or 0}, {sigma:.5g}/K"
        for key, firing, build, held, read, *measured in session.execute(query)
        if read is not None or any(m is not None for m in measured)
    }


def waiting(session: Session) -> list[Waiting]:
    """The firings whose fit is missing or no longer counts, newest first."""
    made = dict(session.execute(select_core(col(FiringFit.firing_id), col(FiringFit.key))).all())
    found = keys(session)
    return [Waiting(i, found[i]) for i in sorted(found, reverse=True) if made.get(i) != found[i]]
