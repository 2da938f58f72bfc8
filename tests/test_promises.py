"""Each promise is kept by a test that is run."""

from itertools import groupby

from tests.promises import promises, table

PROMISES = 108
"""Promises that tests keep: whoever takes one back, or lets it go with its test, changes this number knowingly."""


def test_each_promise_is_kept_by_a_test_or_measured_by_a_command() -> None:
    found = list(promises())
    assert len({one.words for one in found}) == PROMISES
    for one in found:
        assert one.is_test or "def main() -> None:" in one.file.read_text(encoding="utf-8"), one
        assert one.words[0].isupper(), one
        assert not one.words.endswith("."), one


def test_one_test_says_each_promise_once_in_its_file() -> None:
    said = sorted((one.kept_by, one.words) for one in promises())
    assert [which for which, same in groupby(said) if len(list(same)) > 1] == []


def test_the_table_has_every_promise_once() -> None:
    rows = table().splitlines()[2:]
    assert len(rows) == PROMISES
    for one in promises():
        assert sum(row.startswith(f"| {one.words} |") and f"`{one.kept_by}`" in row for row in rows) == 1, one
