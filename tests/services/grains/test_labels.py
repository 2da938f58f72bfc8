"""Labels: grids that fit their paper, type that can be read, and what stands on a label."""

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.services.grains import grains, labels
from app.services.grains.labels import SHEETS, LabelsIn
from tests import build

POINT = 25.4 / 72


@pytest.mark.parametrize("size", list(SHEETS))
def test_the_grid_fits_its_paper_and_lies_in_the_middle(size: str) -> None:
    """Sheets are cut symmetrically, so what is left at the left and right, top and bottom must be the same."""
    sheet = SHEETS[size]
    for paper, label, n, first, step in (
        (sheet.paper[0], sheet.label[0], sheet.columns, sheet.left, sheet.across),
        (sheet.paper[1], sheet.label[1], sheet.rows, sheet.top, sheet.down),
    ):
        last = first + (n - 1) * step + label
        assert paper - last == pytest.approx(first, abs=0.06)
        assert n == 1 or step >= label


@pytest.mark.parametrize("size", list(SHEETS))
def test_type_and_code_are_large_enough(size: str) -> None:
    """Six points at least for the eye; 0.33 mm a module for a hand-held reader (common practice, no source)."""
    sheet = SHEETS[size]
    assert sheet.type_size >= 6 * POINT
    modules = 37  # version 3 with its border, what an address on this machine needs
    assert sheet.code / modules >= 0.33
    assert sheet.code <= sheet.label[1]


def test_a_label_says_what_is_in_the_bag(session: Session) -> None:
    lot = build.cast(session)
    grain = build.grain(session, lot)
    wanted = LabelsIn(lot=lot.code.lower())
    found = labels.candidates(session, wanted)
    ((label,),) = labels.sheets(session, wanted, found, "http://127.0.0.1:8765/")
    assert label is not None
    assert label.serial == grain.serial
    assert label.lot == lot.code
    assert label.mass == f"{grain.mass_kg * 1000:.1f} g"
    assert label.address == f"http://127.0.0.1:8765/shelf/{grain.serial}"
    assert label.formula == found[0].formula.label


def test_labels_begin_at_the_first_free_place_and_run_over_to_the_next_sheet(session: Session) -> None:
    lot = build.cast(session, 4)
    serials = [build.grain(session, lot).serial for _ in range(3)]
    wanted = LabelsIn(lot=lot.code, size="a4-3x8", start=23)
    first, second = labels.sheets(session, wanted, labels.candidates(session, wanted), "http://localhost/")
    assert first[:22] == [None] * 22
    assert [label.serial for label in [*first, *second] if label] == serials
    assert len(first) == 24
    assert len(second) == 1


def test_rejected_grains_get_no_label_unless_ticked(session: Session) -> None:
    lot = build.cast(session)
    good, bad = build.grain(session, lot), build.grain(session, lot, decision="reject")
    found = labels.candidates(session, LabelsIn(lot=lot.code))
    assert [v.grain for v in labels.chosen(found, LabelsIn(lot=lot.code))] == [good]
    assert [v.grain for v in labels.chosen(found, LabelsIn(lot=lot.code, grain=[bad.pk]))] == [bad]


def test_a_place_that_the_sheet_does_not_have_is_refused(session: Session) -> None:
    with pytest.raises(Refused, match="24 places") as refusal:
        labels.sheets(session, LabelsIn(start=25), [], "http://localhost/")
    assert refusal.value.field == "start"
    with pytest.raises(Refused):
        labels.sheets(session, LabelsIn(size="a9-1x1"), [], "http://localhost/")


def test_too_many_labels_at_once_are_refused(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    lot = build.cast(session)
    views = [grains.view(session, build.grain(session, lot).serial) for _ in range(2)]
    monkeypatch.setattr(labels, "MOST", 1)
    with pytest.raises(Refused, match="too many"):
        labels.sheets(session, LabelsIn(), views, "http://localhost/")


def test_the_newest_lots_come_first(session: Session) -> None:
    first, second = build.cast(session), build.cast(session)
    assert labels.lots(session) == []
    for lot in (first, second):
        build.grain(session, lot)
    assert labels.lots(session) == [second, first]
