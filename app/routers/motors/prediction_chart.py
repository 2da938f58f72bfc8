"""The curves of a prediction, drawn."""

from markupsafe import Markup

from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.services.learning import prediction_record
from app.services.learning.prediction_record import PredictionRecord
from app.units import UnitSystem, convert, convert_each, unit_of


def chart_of(predicted: PredictionRecord, units: UnitSystem, measured_peak_pa: float | None = None) -> Markup:
    """Pressure and thrust over one time, with their range and the case's limits, in the workshop's units."""
    curve, case = predicted.curve, predicted.inputs.case
    limits = [
        ("Rated", case.rated_pressure_pa, True),
        ("Proof test", case.proof_pressure_pa, True),
        ("Measured peak", measured_peak_pa, False),
    ]
    rules = [Rule(name, convert(at, "pressure", units), is_limit) for name, at, is_limit in limits if at is not None]
    pressure = _panel(
        "pressure", "Pressure", units, curve, (curve.pressure_pa, curve.pressure_low_pa, curve.pressure_high_pa), rules
    )
    thrust = _panel("force", "Thrust", units, curve, (curve.thrust_n, curve.thrust_low_n, curve.thrust_high_n), [])
    return line_chart("Chamber pressure and thrust", Axis("Time from ignition", "s"), pressure, thrust)


def _panel(
    kind: str,
    label: str,
    units: UnitSystem,
    curve: prediction_record.Curve,
    values: tuple[list[float], list[float], list[float]],
    rules: list[Rule],
) -> Panel:
    mid, low, high = (convert_each(column, kind, units) for column in values)
    band = Band("Middle 90 %", curve.band_time_s, low, high) if low else None
    axis = Axis(label, unit_of(kind, units), from_zero=True)
    return Panel(axis, [Series("Expected", curve.time_s, mid)], band, rules)
