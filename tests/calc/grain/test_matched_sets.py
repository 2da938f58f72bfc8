"""Sets of even mass, against trying every choice there is."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.base.errors import OutOfRange
from app.calc.grain.matched_sets import even_sets


def every_choice(left: tuple[float, ...], size: int, count: int) -> Iterator[float]:
    """The sum of ranges of every way to take `count` sets out: the reference, slow and without any thought."""
    from itertools import combinations

    if count == 0:
        yield 0.0
        return
    for members in combinations(range(len(left)), size):
        rest = tuple(m for i, m in enumerate(left) if i not in members)
        spread = max(left[i] for i in members) - min(left[i] for i in members)
        yield from (spread + more for more in every_choice(rest, size, count - 1))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1500, 1800), min_size=4, max_size=7), st.data())
def test_no_other_choice_is_more_even(tenths: list[int], data: st.DataObject) -> None:
    masses = tuple(t / 1e4 for t in tenths)
    size = data.draw(st.integers(2, 3))
    count = data.draw(st.integers(1, len(masses) // size))
    found = even_sets(masses, size, count)
    taken = [i for one in found for i in one.members]
    assert len(taken) == len(set(taken)) == size * count
    for one in found:
        mine = [masses[i] for i in one.members]
        assert one.spread == pytest.approx(max(mine) - min(mine), abs=1e-12)
    assert sum(s.spread for s in found) == pytest.approx(min(every_choice(masses, size, count)), abs=1e-12)


def test_greed_is_not_enough() -> None:
    """Taking the two closest first (3 and 4) would leave 1 with 6; the best is 1 with 3 and 4 with 6."""
    assert [s.members for s in even_sets([1.0, 3.0, 4.0, 6.0], 2, 2)] == [(0, 1), (2, 3)]
    assert even_sets([1.0, 3.0, 4.0, 6.0], 2, 1)[0].members == (1, 2)


def test_most_even_set_comes_first() -> None:
    spreads = [s.spread for s in even_sets([1.0, 1.5, 2.0, 2.1, 5.0, 5.9], 2, 3)]
    assert spreads == sorted(spreads)


@pytest.mark.parametrize(
    ("size", "count", "field"), [(1, 1, "size"), (2, 0, "count"), (2, 3, "count"), (6, 1, "count")]
)
def test_what_cannot_be_is_told(size: int, count: int, field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        even_sets([0.1, 0.2, 0.3, 0.4, 0.5], size, count)
    assert refusal.value.field == field
