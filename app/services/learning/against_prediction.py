"""What a firing's pressure and thrust say of its propellant, over what the prediction made before it had taken."""

from math import log

from sqlmodel import Session, select

from app.calc.base.errors import CalcError
from app.calc.fit.partial_pooling import stand_shifts
from app.calc.fit.pressure_fit import local_exponent
from app.models import Firing, FiringFit, Formula
from app.services.learning import fit_records, learning_pages
from app.services.learning.fit_records import FitRecord
from app.services.learning.learning_pages import Say
from app.services.learning.prediction_record import PredictionRecord
from app.services.stock import formulas


def said(session: Session, firing: Firing, formula: Formula, told: PredictionRecord) -> list[Say]:
    """Burn rate and both efficiencies over those of the prediction, with their 90 % intervals [-].

    Nothing where no pressure was recorded, or the fit stands on something that changed since: figures alone cannot
    tell the three apart.
    """
    row = session.exec(select(FiringFit).where(FiringFit.firing_id == firing.pk)).first()
    if row is None or row.key != fit_records.keys(session, firing.pk).get(firing.pk):
        return []
    fit = FitRecord.model_validate_json(row.fit_json)
    if fit.how != "pressure":
        return []
    try:
        law = formulas.burn_law(formula)
    except CalcError:
        return []
    faster = told.inputs.taught.rate.factor if told.inputs.taught is not None else 1.0
    taken = (
        log(float(law.rate(fit.pressure_pa)) * faster),
        log(told.inputs.c_star_efficiency),
        log(told.inputs.nozzle_efficiency),
    )
    exponent = local_exponent(law, fit.pressure_pa)
    return [
        learning_pages.say(
            one.what,
            one.value - sum(m * t for m, t in zip(one.mixture, taken, strict=True)),
            one.error,
            stand_shifts(one.what, exponent),
        )
        for one in fit.rows
    ]
