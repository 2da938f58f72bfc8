"""Which lots flew well: said only where a line parts them better than chance would, and of lots fired alone."""

from datetime import timedelta

import pytest
from scipy import stats
from sqlmodel import Session

from app import clock
from app.services.review import flown_well, lot_rows, lots_review
from app.services.review.flown_well import LEAST, LotFlown, judged, said
from app.services.review.lots_review import ReviewIn
from tests import build
from tests.moment import wall

NOON = wall("2026-11-02T12:00")


def lots(*rows: tuple[float | None, bool | None], ratio: float = 1.0) -> list[LotFlown]:
    """Lots by their density [%] and whether they burned well; invented."""
    return [
        LotFlown(f"L{i}", None if d is None else d / 100, well, () if well is None else (ratio - 0.1 * (not well),))
        for i, (d, well) in enumerate(rows)
    ]


DENSE = [(95.9, True), (96.1, True), (96.4, True), (96.6, True), (96.9, True)]
LIGHT = [(93.1, False), (94.0, False), (94.4, False), (95.1, False)]


def test_a_line_that_parts_them_is_told_with_what_they_delivered() -> None:
    found = said(lots(*DENSE, *LIGHT, (94.9, None), (96.0, None), (None, None)))
    assert found.told
    assert found.answer == (
        "All 5 lots that burned well are at 95.5 % of ideal density or more; none of the 4 lighter ones did."
    )
    assert found.more == "They delivered 100 %, the lighter ones 90 % of the prediction."
    assert found.keep == "casting to 95.5 % or more."
    assert "L9, not fired yet, is as light: try one on the stand first." in found.change
    assert found.cut is not None
    dense, light = [d for d, _ in DENSE], [d for d, _ in LIGHT]
    # SciPy's exact two-sample Kolmogorov-Smirnov test as the reference
    assert found.cut.p == pytest.approx(stats.ks_2samp(dense, light, method="exact").pvalue)


def test_a_line_with_exceptions_says_how_many() -> None:
    mixed = [*DENSE, (96.2, True), (96.3, True), (96.5, False), *LIGHT, (94.2, False), (93.8, True)]
    found = said(lots(*mixed))
    assert found.told
    assert found.answer == "Of 8 lots at 95.5 % of ideal density or more 7 burned well, of 6 lighter ones 1."
    assert found.more.startswith("The former delivered 90 to 100 %")


def test_a_line_that_goes_the_other_way_is_told_as_it_is() -> None:
    found = said(lots(*((d, not well) for d, well in [*DENSE, *LIGHT])))
    assert found.told
    assert (
        found.answer == "All 4 lots that burned well are below 95.5 % of ideal density; none of the 5 denser ones did."
    )


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "No lot was fired yet."),
        ([(95.0, None)], "No lot was fired yet."),
        ([(95.0, True)], "The one lot that was fired burned well."),
        (DENSE, "All 5 lots that were fired burned well."),
        (LIGHT, "None of 4 lots that were fired burned well."),
        ([*DENSE, *LIGHT[: LEAST - 1]], f"a line of density is looked for from {LEAST} of each kind on"),
        (
            [(95.0, True), (95.2, False), (95.4, True), (95.6, False), (95.8, True), (96.0, False)],
            "3 of 6 lots that were fired burned well, and light or dense makes no difference",
        ),
        # parted without exception, yet 1 order in 10 would be: Fisher's 2 of 20
        ([*DENSE[:3], *LIGHT[:3]], "Nothing separates them yet"),
    ],
)
def test_it_stays_silent_where_nothing_parts_them(rows: list[tuple[float, bool]], words: str) -> None:
    found = said(lots(*rows))
    assert not found.told
    assert words in found.answer
    assert "95." not in found.answer + found.keep, "no line is told"


def test_lots_of_the_book_are_judged_by_motors_of_their_grains_alone(session: Session) -> None:
    with clock.turned_to(NOON) as turn:
        made = []
        for day in range(3):
            turn(NOON + timedelta(days=day))
            lot = build.cast(session, 3)
            made.append((lot, [build.grain(session, lot, 0.95 + 0.01 * day) for _ in range(3)]))
        (first, a), (second, b), (third, _) = made
        turn(NOON + timedelta(days=20))
        build.bare_firing(session, build.bare_motor(session, a[:1], predicted=500.0), "no_light")
        build.bare_firing(session, build.bare_motor(session, a[1:2], predicted=500.0), measured_impulse_ns=450.0)
        build.bare_firing(session, build.bare_motor(session, b[:1], predicted=500.0), "weak", measured_impulse_ns=400.0)
        build.bare_firing(session, build.bare_motor(session, b[1:2], predicted=500.0), measured_impulse_ns=500.0)
        build.bare_firing(session, build.bare_motor(session, [a[2], b[2]], predicted=500.0), "burst")
    found = lots_review.lots(session, ReviewIn())
    assert list(found.newest) == [third.pk, second.pk, first.pk]
    flown = judged(session, found.newest)
    assert [(lot.code, lot.well) for lot in flown.lots] == [
        (third.code, None),
        (second.code, False),
        (first.code, True),
    ]
    assert flown.lots[2].ratios == pytest.approx((0.9,))
    assert flown.mixed == 1, "a motor of two lots says nothing of either"
    assert flown_well.flown(session, found) == flown, "from the lines of one page as from the book"

    rows = {row.line.batch.code: row for row in lot_rows.rows(session, found.lines)}
    assert (rows[third.code].kind, rows[third.code].words) == ("none", "not fired")
    assert (rows[first.code].kind, rows[first.code].words) == ("partly", "1 of 2 burned well")
    assert [dot.on_shelf for dot in rows[first.code].dots].count(True) == 1, (
        "two burned; the one that did not light is left"
    )
    assert len(rows[second.code].shots) == 3
    assert [dot.share for dot in rows[third.code].dots] == pytest.approx([0.97] * 3, abs=1e-3)


def test_only_the_newest_are_judged(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    codes = [build.cast(session, 1).code for _ in range(3)]
    monkeypatch.setattr(flown_well, "JUDGED", 2)
    flown = judged(session, lots_review.lots(session, ReviewIn()).newest)
    assert [lot.code for lot in flown.lots] == [codes[2], codes[1]]
    assert flown.answer == "No lot was fired yet."
