"""The forms of incidents on a page at the pan: one of two taps to tell one, and to void what was tapped by mistake."""

from collections.abc import Iterable
from typing import get_args

from app.forms import Form
from app.models import Batch, Incident
from app.models.batch import VoidIn
from app.models.incident import SORTS, TapIn
from app.web import Forms

WHAT = {"what": [(value, SORTS[value.partition(":")[2]]) for value in get_args(TapIn.model_fields["what"].annotation)]}


def of_melt(forms: Forms, batch: Batch, told: Iterable[Incident]) -> dict[str, Form]:
    """The forms by their identifiers: `incident-form`, and `void-` with its number for each that stands."""
    found = {"incident-form": forms.get("incident-form", TapIn, f"/cast/{batch.code}/incident", choices=WHAT)}
    for row in told:
        if row.voided_at is None:
            key = f"void-{row.pk}"
            found[key] = forms.get(key, VoidIn, f"/cast/{batch.code}/incident/{row.pk}/void", row=row)
    return found
