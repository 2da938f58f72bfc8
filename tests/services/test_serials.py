"""A serial, typed or scanned: the address in a label's code and what a person types mean the same grain."""

import pytest

from app.services import serials


@pytest.mark.parametrize(
    "text",
    ["26K3-04", " 26k3-04 ", "26k3-4", "26K3-004", "http://127.0.0.1:8765/shelf/26K3-04",
     "http://localhost/shelf/26k3-04/", "/shelf/26K3-04", "http://other:1/shelf/26K3-04?x=1"],
)  # fmt: skip
def test_a_serial_is_read_from_what_was_typed_or_scanned(text: str) -> None:
    assert serials.scanned(text) == "26K3-04"
    assert serials.parts(text) == ("26K3", "04")


@pytest.mark.parametrize("text", ["26K3", "K3-04", "4", "", "172.3 g", "٢٦K3-04", "26K3-04-1", "https://example.org/",
                                  "/review/26K3-04", "http://[/shelf/26K3-04"])  # fmt: skip
def test_a_part_of_one_or_something_else_is_no_whole_serial(text: str) -> None:
    assert serials.parts(text) is None
