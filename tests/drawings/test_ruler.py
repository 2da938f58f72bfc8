"""The bar of a range beside its number: places in per cent of its width, each read off against the others."""

import re

import pytest

from app.drawings.ruler import ruler


def _places(drawn: str, css: str) -> list[float]:
    """Where the marks of a kind stand [% of the width]."""
    found = re.findall(rf'<svg x="([\d.]+)%"[^>]*><path [^>]*class="{css}"', drawn)
    found += re.findall(rf'<(?:circle cx|line x1|rect x)="([\d.]+)%"[^>]*class="{css}"', drawn)
    return [float(place) for place in found]


def test_each_mark_stands_at_its_share_of_the_width() -> None:
    drawn = ruler(2.0, 1.0, 3.0, end=8.0, fired=[2.4, None, 4.0], wished=6.0, limit=7.0)
    assert _places(drawn, "middle") == [25]
    assert _places(drawn, "range") == [12.5]
    assert 'width="25%"' in drawn
    assert _places(drawn, "fired") == [30, 50]
    assert _places(drawn, "wished") == [75]
    assert _places(drawn, "limit") == [87.5]


def test_without_an_end_all_of_it_is_on_the_ruler_and_nothing_is_at_its_end() -> None:
    drawn = ruler(2.0, 1.0, 3.0, limit=7.0)
    assert 90 < _places(drawn, "limit")[0] < 100
    assert "beyond" not in drawn


def test_what_lies_beyond_an_end_is_an_arrow_there() -> None:
    assert _places(ruler(2.0, end=8.0, limit=9.0), "beyond") == [100]
    assert _places(ruler(2.0, start=3.0, end=8.0), "beyond") == [0]


@pytest.mark.parametrize("unknown", [None, float("nan"), float("inf")])
def test_what_is_not_known_is_left_out(unknown: float | None) -> None:
    drawn = ruler(unknown, unknown, 3.0, fired=[unknown], wished=unknown, limit=unknown)
    assert re.findall('class="([a-z]+)"', drawn) == ["ruler", "base"]


def test_a_ruler_without_a_length_is_refused() -> None:
    with pytest.raises(ValueError, match="no length"):
        ruler(1.0, start=2.0, end=2.0)


def test_it_is_heard_only_where_it_says_something_of_its_own() -> None:
    assert 'aria-hidden="true"' in ruler(1.0)
    assert 'role="img" aria-label="2 &lt; 7"' in ruler(1.0, words="2 < 7")
