"""What a melt gives besides its grains: never more than went in, each under its own mark."""

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models.batch import LeftoverIn, TestPiecesIn
from app.services.cast import leftovers
from app.services.stock import batches
from tests import build


def test_no_more_comes_out_than_went_in(session: Session) -> None:
    batch = build.weighed_batch(session)
    total = sum(batches.weighed(session, batch).values())
    with pytest.raises(Refused, match="was weighed into the pan") as caught:
        leftovers.tell_test_pieces(
            session, batch, TestPiecesIn.model_validate({"test_pieces": f"{total * 1000 + 1:.1f} g"})
        )
    assert caught.value.field == "test_pieces"
    leftovers.tell_test_pieces(session, batch, TestPiecesIn.model_validate({"test_pieces": "10 g"}))
    most = f"{total * 1000 - 10:.1f} g"
    leftovers.keep(session, batch, LeftoverIn.model_validate({"mark": "L1", "mass": most}))
    with pytest.raises(Refused, match="was weighed into the pan"):
        leftovers.keep(session, batch, LeftoverIn.model_validate({"mark": "L2", "mass": "1 g"}))
    with pytest.raises(Refused, match="there already"):
        leftovers.keep(session, batch, LeftoverIn.model_validate({"mark": "L1", "mass": "1 g"}))


def test_leftover_marks_are_proposed_and_free(session: Session) -> None:
    batch = build.weighed_batch(session)
    mark = leftovers.next_mark(session, batch)
    assert mark == f"{batch.code} leftover 1"
    leftovers.keep(session, batch, LeftoverIn.model_validate({"mark": mark, "mass": "1 g"}))
    assert leftovers.next_mark(session, batch) == f"{batch.code} leftover 2"
