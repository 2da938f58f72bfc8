"""Plans written down, changed and dropped."""

import pytest
from sqlmodel import Session

from app.errors import Conflict, Refused
from app.services.cast import checklists, planning
from app.services.stock import batches
from tests import build


def test_edit_voids_checklists_and_keeps_the_code(session: Session) -> None:
    batch = build.batch(session)
    checklist = build.checklist(session, batch)
    code, before = batch.code, batch.target_mass_kg
    data = build.plan_in(session, 2, blend=batches.formula_of(session, batch))
    planning.edit(session, batch, data, batch.version)
    assert batch.code == code
    assert batch.target_mass_kg < before
    assert [item.count for item in batch.items] == [2]
    assert checklist.voided_why == "The plan was changed."
    assert checklists.current(session, batch) is None


def test_edit_from_a_stale_tab(session: Session) -> None:
    batch = build.batch(session)
    seen = batch.version
    blend = batches.formula_of(session, batch)
    planning.edit(session, batch, build.plan_in(session, 2, blend=blend), seen)
    with pytest.raises(Conflict):
        planning.edit(session, batch, build.plan_in(session, 3, blend=blend), seen)


def test_a_batch_begun_is_neither_edited_nor_dropped(session: Session) -> None:
    batch = build.batch(session)
    build.opened_session(session, batch)
    with pytest.raises(Refused, match="has begun"):
        planning.edit(session, batch, build.plan_in(session))
    with pytest.raises(Refused, match="has begun"):
        planning.drop(session, batch, "Too late.")


def test_drop_keeps_the_reason(session: Session) -> None:
    batch = build.batch(session, note="For the spring.")
    planning.drop(session, batch, "No sorbitol to be had.")
    assert (batch.state, batch.note) == ("dropped", "For the spring.\nDropped: No sorbitol to be had.")
    with pytest.raises(Refused, match="was dropped"):
        planning.drop(session, batch, "Twice.")


def test_a_retired_formula_is_not_planned(session: Session) -> None:
    blend = build.formula(session)
    blend.retired = True
    with pytest.raises(Refused, match="retired"):
        planning.plan(session, build.plan_in(session, blend=blend))
