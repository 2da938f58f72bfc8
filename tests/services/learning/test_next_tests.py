"""What tests to come would teach: more teach more, what is known already teaches less, and nothing is ever widened."""

from sqlmodel import Session

from app.services.learning import learning_pages, next_tests
from tests import build


def test_three_tests_narrow_every_range_and_more_narrow_it_further(session: Session) -> None:
    formula, case = build.formula(session), build.case(session)
    one, three, ten = (next_tests.of(session, formula, case, tests) for tests in (1, 3, 10))
    assert one.fired == 0
    for before, then, further in zip(one.narrowed, three.narrowed, ten.narrowed, strict=True):
        assert 0 <= before[1] <= then[1] <= further[1] < 1
    assert three.narrowed[0][1] > 0.1


def test_it_is_what_the_learning_page_says_of_tests_that_agree(session: Session) -> None:
    """Nothing is known yet: what three tests move (that page) grows with what they narrow (this one)."""
    formula, case = build.formula(session), build.case(session)
    moves = {one.tests: one.rate for one in learning_pages.moves(session)}
    narrowed = {tests: next_tests.of(session, formula, case, tests).narrowed[0][1] for tests in moves}
    assert sorted(narrowed, key=lambda n: narrowed[n]) == sorted(moves, key=lambda n: moves[n])
