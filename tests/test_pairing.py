"""Pairing codes: short-lived, used once, and guessed at with growing waits. Both clocks are turned by hand."""

from datetime import timedelta

import pytest

from app import clock
from app.access.pairing import DIGITS, FORGET_S, GUESSES, GUESSES_EACH, HOLDS, SENDERS, Desk, sender_of


class Watch:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def desk(watch: Watch) -> Desk:
    return Desk(seconds=watch)


def _wrong(desk: Desk) -> str:
    code = desk.code()
    return "00000000" if code is None or code.digits != "00000000" else "00000001"


def _miss(desk: Desk, watch: Watch, sender: str, times: int = 1) -> None:
    """Wrong guesses, each as early as its sender is allowed to."""
    for _ in range(times):
        watch.now += desk.wait(sender)
        assert not desk.take(sender, _wrong(desk))


def test_a_code_has_eight_digits_and_no_two_are_alike(desk: Desk) -> None:
    codes = {desk.new_code().digits for _ in range(200)}
    assert len(codes) == 200  # 200 of 10^8: two alike once in 5,000 runs
    assert all(len(code) == DIGITS and code.isdecimal() for code in codes)
    assert {sign for code in codes for sign in code} == set("0123456789")


def test_a_code_is_used_once(desk: Desk) -> None:
    digits = desk.new_code().digits
    assert desk.take("tablet", digits)
    assert not desk.take("tablet", digits)
    assert desk.code() is None


def test_a_code_is_read_with_the_blanks_it_is_shown_with(desk: Desk) -> None:
    assert desk.take("tablet", str(desk.new_code()))
    digits = desk.new_code().digits
    assert desk.take("tablet", f" {digits[:4]}-{digits[4:]} ")


@pytest.mark.parametrize("typed", ["", " ", "0", "x" * 5000, "\ud800", "٣٣٣٣٣٣٣٣", "12345678 9"])
def test_what_is_no_code_is_wrong(desk: Desk, typed: str) -> None:
    desk.new_code()
    assert not desk.take("tablet", typed)


def test_a_longer_text_that_begins_with_the_code_is_wrong(desk: Desk) -> None:
    assert not desk.take("tablet", desk.new_code().digits + "0")


def test_a_new_code_ends_the_one_before(desk: Desk) -> None:
    first = desk.new_code().digits
    desk.new_code()
    assert not desk.take("tablet", first)


def test_without_a_code_nothing_is_right(desk: Desk) -> None:
    assert not desk.take("tablet", "")
    assert not desk.take("other", "00000000")


@pytest.mark.promise(
    "A pairing code is short-lived, used once, guessed at with growing waits",
    figure="8 digits, 10 min: 1 in 20,000,000 for each code and sender, 1 in 1,000,000 for twenty senders together",
)
def test_a_code_ends_after_ten_minutes_by_either_clock(desk: Desk, watch: Watch) -> None:
    moment = clock.now()
    with clock.turned_to(moment) as turn:
        digits = desk.new_code().digits
        watch.now += HOLDS.total_seconds() - 1
        assert desk.code() is not None
        watch.now += 1
        assert desk.code() is None
        assert not desk.take("tablet", digits)
        digits = desk.new_code().digits
        turn(moment + HOLDS)  # the computer slept, and its seconds with it
        assert desk.code() is None
        turn(moment - timedelta(days=1))  # set back: the seconds still count
        watch.now += HOLDS.total_seconds()
        assert desk.code() is None


def test_each_wrong_guess_doubles_the_wait_of_its_sender(desk: Desk, watch: Watch) -> None:
    waits = []
    for _ in range(12):
        _miss(desk, watch, "guesser")
        waits.append(desk.wait("guesser"))
    assert waits == [2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900, 900]


@pytest.mark.promise(
    "One guesser of pairing codes makes nobody else wait",
    figure="the owner's tablet is let in at once beside a guesser, and beside nineteen",
)
@pytest.mark.parametrize("guessers", [1, 19])
def test_nobody_waits_for_anothers_guesses(desk: Desk, watch: Watch, guessers: int) -> None:
    digits = desk.new_code().digits
    for turn in range(GUESSES_EACH):
        for i in range(guessers):
            _miss(desk, watch, f"10.0.0.{i}") if turn == 0 else _at_once(desk, watch, f"10.0.0.{i}")
        assert desk.wait("10.0.0.200") == 0
    for i in range(guessers):
        assert desk.wait(f"10.0.0.{i}") > 0
        assert not desk.take(f"10.0.0.{i}", digits)
    assert desk.take("10.0.0.200", digits)


def _at_once(desk: Desk, watch: Watch, sender: str) -> None:
    watch.now += desk.wait(sender)
    desk.take(sender, _wrong(desk))


def test_a_sender_has_five_guesses_at_a_code(desk: Desk, watch: Watch) -> None:
    digits = desk.new_code().digits
    begun = watch.now
    _miss(desk, watch, "guesser", GUESSES_EACH)
    assert desk.wait("guesser") == begun + HOLDS.total_seconds() - watch.now  # as long as this code holds
    watch.now += 200
    assert not desk.take("guesser", digits)
    assert desk.code() is not None
    assert desk.take("tablet", digits)
    desk.new_code()
    assert desk.wait("guesser") == 0  # its own wait is over, and the code is another one
    _miss(desk, watch, "guesser")
    assert desk.wait("guesser") == 64  # which goes on where it was


@pytest.mark.parametrize(
    ("address", "sender"),
    [
        ("192.168.1.5", "192.168.1.5"),
        ("::ffff:192.168.1.5", "192.168.1.5"),
        ("fd00:1:2:3:aaaa:bbbb:cccc:dddd", "fd00:1:2:3::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("testclient", "testclient"),
    ],
)
def test_whom_an_address_counts_as(address: str, sender: str) -> None:
    assert sender_of(address) == sender


def test_a_device_that_changes_its_address_is_one_sender(desk: Desk, watch: Watch) -> None:
    """RFC 8981: a device draws the last 64 bits of its address by chance, as often as it likes."""
    digits = desk.new_code().digits
    for i in range(GUESSES_EACH):
        _miss(desk, watch, f"fd00:1:2:3::{i + 1:x}")
    assert not desk.take("fd00:1:2:3::ffff", digits)
    assert desk.take("fd00:1:2:4::1", digits)


def test_a_guess_during_the_wait_is_not_looked_at_and_does_not_lengthen_it(desk: Desk, watch: Watch) -> None:
    digits = desk.new_code().digits
    _miss(desk, watch, "guesser", 3)
    before = desk.wait("guesser")
    assert not desk.take("guesser", digits)
    assert not desk.take("guesser", _wrong(desk))
    assert desk.wait("guesser") == before
    watch.now += before
    assert desk.take("guesser", digits)


def test_a_hundred_wrong_guesses_withdraw_the_code_whoever_made_them(desk: Desk, watch: Watch) -> None:
    digits = desk.new_code().digits
    with clock.turned_to(clock.now()):
        for i in range(GUESSES):
            assert desk.code() is not None
            assert not desk.take(f"guesser {i}", _wrong(desk))
        assert watch.now == 1000  # it did not end by its time
        assert desk.code() is None
        watch.now += 3600
        assert not desk.take("tablet", digits)


def test_waits_outlast_a_new_code_and_are_forgotten_after_an_hour(desk: Desk, watch: Watch) -> None:
    _miss(desk, watch, "guesser", 5)
    desk.new_code()
    assert desk.wait("guesser") == 32
    watch.now += FORGET_S + 1
    assert desk.wait("guesser") == 0
    _miss(desk, watch, "guesser")
    assert desk.wait("guesser") == 2


def test_no_more_senders_are_remembered_than_so_many(desk: Desk, watch: Watch) -> None:
    for i in range(SENDERS + 500):
        desk.take(f"guesser {i}", "1")
    assert len(desk._each) == SENDERS
    assert desk.wait(f"guesser {SENDERS + 499}") == 2  # the latest are the ones


def test_a_right_code_clears_its_senders_own_wait_only(desk: Desk, watch: Watch) -> None:
    _miss(desk, watch, "tablet", 3)
    _miss(desk, watch, "guesser", 8)
    watch.now += 60  # the tablet's wait is over, the guesser's is not
    assert desk.take("tablet", desk.new_code().digits)
    assert desk.wait("guesser") > 0
    assert not desk._each.get("tablet")
