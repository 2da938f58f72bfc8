"""What was found of a failure: what is asked, what is kept, and where its facts are told again."""

from typing import Any

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models import Firing, Grain
from app.models.firing_log import FindingIn
from app.services.firings import findings
from tests import build

FOUND = {"case_found": "held", "closure_found": "held", "nozzle_found": "held", "remains_found": "none"}


def found_in(**more: Any) -> FindingIn:
    """A form of what was found."""
    return FindingIn.model_validate({**FOUND, **more})


def failed(session: Session, result: str = "burst", grains: int = 3) -> tuple[Firing, list[Grain]]:
    """A motor that failed, and its grains."""
    inside = build.ready_grains(session, grains)
    return build.bare_firing(session, build.bare_motor(session, inside), result), inside


def test_a_failure_asks_and_a_good_firing_does_not(session: Session) -> None:
    for result, asked in (("burst", True), ("nozzle", True), ("burn_through", True), ("good", False), ("weak", False)):
        assert findings.asked(failed(session, result)[0]) is asked


def test_facts_are_told_at_the_firing_its_grains_and_their_lot(session: Session) -> None:
    firing, inside = failed(session)
    other, _ = failed(session)
    assert findings.untold(session) == [other, firing]
    data = found_in(
        case_found="split",
        case_words="Along the seam, 80 mm.",
        remains_found="pieces",
        grain_ids=[inside[1].pk],
        suspicion="Its piece shows a hollow.",
    )
    findings.write_down(session, firing, data)
    fact = findings.of_firing(session, firing)
    assert fact is not None
    assert ("Case", "Split or torn open: Along the seam, 80 mm.") in fact.parts
    assert ("Grain remains", "Unburned pieces") in fact.parts
    assert fact.suspects == (f"{inside[1].serial} (grain 2)",)
    assert fact.result_words == "Case burst"
    for grain in inside:
        assert findings.of_grain(session, grain) == [fact]
    assert findings.of_lot(session, inside[0].batch_id) == [fact]
    assert findings.untold(session) == [other]
    assert findings.of_firing(session, other) is None


def test_telling_it_again_keeps_both_and_the_newest_counts(session: Session) -> None:
    firing, inside = failed(session)
    first = findings.write_down(session, firing, found_in(case_found="split", case_words="All of it."))
    again = found_in(case_found="holed", case_words="At the aft grain.", grain_ids=[inside[2].pk])
    second = findings.write_down(session, firing, again)
    assert findings.accounts(session, firing) == [second, first]
    fact = findings.of_firing(session, firing)
    assert fact is not None
    assert fact.parts[0] == ("Case", "Burned through: At the aft grain.")
    assert len(findings.of_lot(session, inside[0].batch_id)) == 1


@pytest.mark.parametrize(
    ("result", "more", "field", "words"),
    [
        ("burst", {"case_found": "split"}, "case_words", "write where and how"),
        ("burst", {}, "case_found", "case did not hold"),
        ("burn_through", {"case_found": "unseen"}, "case_found", "case did not hold"),
        ("nozzle", {}, "nozzle_found", "closures or nozzle did not hold"),
        ("nozzle", {"nozzle_found": "out"}, "nozzle_words", "write where and how"),
        ("good", {"closure_found": "leaked", "closure_words": "x"}, "closure_words", "write where"),
        ("good", {"remains_found": "cracked"}, "remains_words", "which grain"),
        ("good", {"suspicion": "It looked pale."}, "grain_ids", "Choose the grains"),
        ("good", {"grain_ids": [999]}, "grain_ids", "grains of this motor"),
    ],
)
def test_what_does_not_go_together_is_refused_beside_the_field(
    session: Session, result: str, more: dict[str, Any], field: str, words: str
) -> None:
    firing, _ = failed(session, result)
    with pytest.raises(Refused, match=words) as fault:
        findings.write_down(session, firing, found_in(**more))
    assert fault.value.field == field
    assert findings.accounts(session, firing) == []
