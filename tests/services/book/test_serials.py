"""A serial, typed or scanned: the address in a label's code and what a person types mean the same grain."""

import pytest

from app.services.book import serials


@pytest.mark.parametrize(
    "text",
    [
        "2611R-04",
        " 2611r-04 ",
        "2611r-4",
        "2611R-004",
        "http://127.0.0.1:8765/shelf/2611R-04",
        "http://localhost/shelf/2611r-04/",
        "/shelf/2611R-04",
        "http://other:1/shelf/2611R-04?x=1",
    ],
)
def test_a_serial_is_read_from_what_was_typed_or_scanned(text: str) -> None:
    assert serials.scanned(text) == "2611R-04"
    assert serials.parts(text) == ("2611R", "04")


@pytest.mark.parametrize("text", ["26K3-04", " 26k3-4 ", "http://127.0.0.1:8765/shelf/26K3-04", "/shelf/26k3-004"])
def test_a_serial_of_an_older_book_is_read_as_before(text: str) -> None:
    assert serials.scanned(text) == "26K3-04"
    assert serials.parts(text) == ("26K3", "04")


def test_a_lot_after_the_eleventh_of_its_month() -> None:
    assert serials.parts("2611pq-4") == ("2611PQ", "04")
    assert serials.scanned("2611pq-4") == "2611PQ-04"


@pytest.mark.parametrize(
    "text",
    [
        "2611R",
        "K3-04",
        "4",
        "",
        "172.3 g",
        "٢٦K3-04",
        "2611R-04-1",
        "https://example.org/",
        "/review/2611R-04",
        "http://[/shelf/2611R-04",
    ],
)
def test_a_part_of_one_or_something_else_is_no_whole_serial(text: str) -> None:
    assert serials.parts(text) is None
