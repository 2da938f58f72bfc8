"""Slips that a person makes at a form: absurd sizes, and the settings opened and saved as they stand."""

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from app.forms import from_texts
from app.models.base import FormIn
from app.models.hardware import CaseIn, CastingTubeIn, GrainPatternIn, NozzleIn
from app.models.place import RocketIn
from app.services.book import workshop
from app.units import METRIC
from tests.behind import engine_of
from tests.browse import opened, saved


@pytest.mark.parametrize(
    ("model", "name", "slip"),
    [
        (GrainPatternIn, "outer_d", "1.75"),
        (GrainPatternIn, "length", "2 mm"),
        (GrainPatternIn, "core_d", "0.1 mm"),
        (CaseIn, "inner_d", "1,9"),
        (CaseIn, "chamber_length", "2 mm"),
        (CaseIn, "outer_d", "50 m"),
        (CastingTubeIn, "inner_d", "0.000001 mm"),
        (NozzleIn, "throat_d", "0.01 mm"),
        (NozzleIn, "exit_d", "1.25"),
        (RocketIn, "mass", "1.5"),
        (RocketIn, "mass", "900 kg"),
        (RocketIn, "diameter", "2.6"),
        (RocketIn, "drag_coefficient", "0"),
        (RocketIn, "drag_coefficient", "-0.5"),
    ],
)
def test_an_absurd_size_is_answered_with_the_bound(model: type[FormIn], name: str, slip: str) -> None:
    form = from_texts(model, [(name, slip)], "form", "/", {})
    assert form.check(METRIC) is None
    assert form.errors[name].startswith("This must be"), form.errors[name]
    assert form.text(name) == slip


def test_the_pans_usual_band_reads_as_it_is_said(client: TestClient) -> None:
    form = opened(client, "/workshop/settings").forms["form"]
    assert (form.fields["pan_low"], form.fields["pan_limit"]) == ("220 °F", "250 °F")
    with writing(engine_of(client)) as session:
        before = workshop.get(session)
        kept = before.pan_low_k, before.pan_limit_k, before.pan_low_typed, before.pan_limit_typed
    saved(client, "/workshop/settings")
    with writing(engine_of(client)) as session:
        after = workshop.get(session)
        assert (after.pan_low_k, after.pan_limit_k) == pytest.approx(kept[:2])
        assert (after.pan_low_typed, after.pan_limit_typed) == kept[2:]
