"""The curves of a prediction, drawn: always with their range, and with what such motors did when they were fired."""

from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np
from markupsafe import Markup

from app.charts import Axis, Band, Dash, Panel, Rule, Series, line_chart
from app.services.firings import curves
from app.services.firings.like_motors import Fired
from app.services.firings.reading import Result
from app.services.learning.prediction_record import PredictionRecord
from app.units import UnitSystem, convert, convert_each, unit_of

NEAR = 0.5
"""Share of a case's limit above which its line is drawn over the curve [-]: below, it would press the curve flat."""

ALONE = 160.0
BESIDE = 84.0
"""Height of a chart's panels where it has the page's width, and where it stands beside a drawing."""

LOW = 0.43
"""Height of Kn's panel as a share of the others'."""

POINTS = 80
"""Points of a curve that is drawn thin."""

TIME = Axis("Time from ignition", "s")


def chart_of(
    predicted: PredictionRecord,
    units: UnitSystem,
    measured_peak_pa: float | None = None,
    fired: Sequence[Fired] = (),
    tall: float = ALONE,
) -> Markup:
    """Thrust, pressure and Kn over one time, with their range and earlier firings, in the workshop's units."""
    curve, case = predicted.curve, predicted.inputs.case
    highest = max(predicted.peak_pressure.high or 0.0, predicted.peak_pressure.mid, measured_peak_pa or 0.0)
    limits = [("Rated", case.rated_pressure_pa), ("Proof test", case.proof_pressure_pa)]
    near = [(name, at) for name, at in limits if at is not None and highest >= NEAR * at]
    rules = [Rule(name, convert(at, "pressure", units)) for name, at in near]
    if measured_peak_pa is not None:
        rules.append(Rule("Measured peak", convert(measured_peak_pa, "pressure", units), limit=False))
    beside = [(one, one.curve, curves.shift(one.curve, predicted)) for one in fired if one.curve is not None]
    panels = [
        Panel(
            Axis(label, unit_of(kind, units), from_zero=True),
            (_series("Expected", curve.time_s, convert_each(mid, kind, units)), *_earlier(kind, units, beside)),
            Band(
                "nine in ten",
                tuple(curve.band_time_s),
                tuple(convert_each(low, kind, units)),
                tuple(convert_each(high, kind, units)),
            )
            if low
            else None,
            tuple(rules) if kind == "pressure" else (),
            height=tall,
            legend=kind == "force",
        )
        for kind, label, mid, low, high in (
            ("force", "Thrust", curve.thrust_n, curve.thrust_low_n, curve.thrust_high_n),
            ("pressure", "Pressure", curve.pressure_pa, curve.pressure_low_pa, curve.pressure_high_pa),
        )
    ]
    if curve.kn:
        kn = (_series("Kn", curve.time_s, curve.kn),)
        panels.append(Panel(Axis("Kn, surface over throat", decimals=0, from_zero=True), kn, height=LOW * tall))
    return _drawn("Thrust, pressure and Kn" if curve.kn else "Thrust and pressure", TIME, *panels)


_drawn = lru_cache(maxsize=32)(line_chart)
"""A motor's page is looked at far more often than what is known of it changes: a chart of the same values, which are
tuples for that, is drawn once."""


def _series(name: str, x: Iterable[float], y: Iterable[float], dash: Dash | None = None, faint: bool = False) -> Series:
    return Series(name, tuple(x), tuple(y), dash, faint)


def _earlier(kind: str, units: UnitSystem, beside: Sequence[tuple[Fired, Result, float]]) -> list[Series]:
    """Each curve that was measured, moved [s] so that it rises when the expected one does."""
    drawn: list[Series] = []
    for one, found, moved in beside:
        force = kind == "force"
        times, values = (found.time_s, found.thrust_n) if force else (found.pressure_time_s, found.pressure_pa)
        every = max(len(times) // POINTS, 1)
        shown = convert_each([max(value, 0.0) for value in values[::every]], kind, units)  # noise would lower the axis
        at = [t + moved for t in times[::every]]
        drawn.append(_series(one.name, at, shown, "dashed" if one.same_formula else "solid", faint=not one.own))
    return [series for series in drawn if np.size(series.x)]
