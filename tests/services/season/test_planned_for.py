"""What motors are looked for with: a wind and ejection delays, as the book has them or as assumed, in words."""

import pytest
from sqlmodel import Session

from app.models.season_choice import Delays, read_delays
from app.services.season import planned_for
from tests import build


def test_wind_and_delays_stand_as_the_book_has_them(session: Session) -> None:
    """Nothing noted: an assumption, said. Some flights: the middle of their winds. What was told
    for a chosen motor, and what is typed, comes before all that.
    """
    wish = build.wish(session, build.season(session))
    none = planned_for.of(session, wish)
    assert (none.wind_m_s, none.assumed, none.delays_s) == (3.0, True, None)
    assert "no flight at" in none.wind_words
    assert "no ejection delay is known" in none.delay_words
    inside = build.ready_grains(session, 5)
    for number, wind in enumerate((2.0, 1.0, 5.0, 4.0, 3.0)):
        build.bare_firing(
            session,
            build.bare_motor(session, inside[number : number + 1]),
            kind="flight",
            rocket_id=wish.rocket_id,
            launch_field_id=wish.launch_field_id,
            wind_m_s=wind,
            delay_planned_s=6.0 if number else 4.0,
        )
        if number == 0:
            one = planned_for.of(session, wish)
            assert (one.wind_m_s, one.assumed) == (2.0, False)
            assert "the one wind noted at" in one.wind_words
    noted = planned_for.of(session, wish)
    assert (noted.wind_m_s, noted.delays_s) == (3.0, (4.0, 6.0))
    assert "the middle of 5 winds" in noted.wind_words
    build.chosen(session, wish, figures={"wind_m_s": 2.5, "delays_s": [3, 5]})
    chosen = planned_for.of(session, wish)
    assert (chosen.wind_m_s, chosen.delays_s) == (2.5, (3.0, 5.0))
    assert planned_for.of(session, wish, 2.5, Delays((3.0, 5.0))) == chosen  # a field left as it stood
    typed = planned_for.of(session, wish, 7.0, Delays())
    assert (typed.wind_m_s, typed.assumed, typed.delays_s) == (7.0, False, None)
    assert "no ejection delay is told" in typed.delay_words


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("8 s, 4 s and 6.5", (4.0, 6.5, 8.0)), ("4; 6 sec", (4.0, 6.0)), ("90", (90.0,)), ("none", ()), ("0", (0.0,))],
)
def test_delays_are_read_as_they_are_written(typed: str, seconds: tuple[float, ...]) -> None:
    read = read_delays(typed)
    assert read == Delays(seconds)
    assert read_delays(str(read)) == read


@pytest.mark.parametrize(
    ("typed", "words"),
    [("4,5", "4.5 s, or 4 s and 5 s"), ("4-8", "in seconds"), ("-3", "in seconds"), ("900", "At most")],
)
def test_delays_that_cannot_be_are_told(typed: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read_delays(typed)
