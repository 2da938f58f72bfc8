"""What to buy, against every set of packs there is (brute force)."""

from itertools import product
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.base.errors import CalcError
from app.calc.season.packs import cheapest

amounts = st.integers(1, 30).map(lambda n: n / 10)
prices = st.integers(0, 500).map(lambda n: n / 100)


@settings(max_examples=200)
@given(st.lists(st.tuples(amounts, prices), min_size=1, max_size=3), st.integers(0, 60).map(lambda n: n / 10))
def test_no_set_of_packs_that_is_enough_is_cheaper(sold: list[tuple[float, float]], need: float) -> None:
    sizes, costs = [size for size, _ in sold], [price for _, price in sold]
    found = cheapest(need, sizes, costs)
    assert sum(n * size for n, size in zip(found.counts, sizes, strict=True)) >= need - 1e-6
    every = product(*(range(ceil(need / size - 1e-9) + 1) for size in sizes))
    enough = (c for c in every if sum(n * size for n, size in zip(c, sizes, strict=True)) >= need - 1e-6)
    least = min(sum(n * price for n, price in zip(c, costs, strict=True)) for c in enough)
    assert found.cost == pytest.approx(least)


def test_without_a_price_the_least_that_is_enough_is_taken() -> None:
    found = cheapest(2.0, [1.2, 5.0, 2.2], [None, 1.0, 2.0])
    assert (found.counts, found.amount, found.cost) == ((0, 0, 1), 2.2, None)
    assert cheapest(0.0, [1.0], [None]).counts == (0,)


@pytest.mark.parametrize(("need", "sizes"), [(1.0, []), (1.0, [0.0]), (1e6, [0.001])])
def test_sizes_that_cannot_be_are_refused(need: float, sizes: list[float]) -> None:
    with pytest.raises(CalcError):
        cheapest(need, sizes, [1.0] * len(sizes))
