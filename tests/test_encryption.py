"""Encrypted copies: the open format, read and written by others too; nothing opens one but its passphrase."""

import base64
import secrets
from pathlib import Path

import pyrage
import pytest

from app.book import encryption
from app.errors import Trouble

PASSPHRASE = "kelp sandbar twine gannet"
CONTENT = secrets.token_bytes(300_000)  # several pieces of 64 KiB, the last one short


@pytest.fixture(scope="module")
def key() -> encryption.Key:
    return encryption.new_key(PASSPHRASE)


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    file = tmp_path / "plain"
    file.write_bytes(CONTENT)
    return file


# Two files made by another implementation, by the author of the format: github.com/FiloSottile/typage, tests.
BY_IDENTITY = (
    "YWdlLWVuY3J5cHRpb24ub3JnL3YxCi0+IFgyNTUxOSBOb280UHUyVWZwTllzY3Z5OU1tTjlscHV1Smt4Nng0MEZkdGZoQzd1dVFZ"
    "Cmk0VUNvVmoxbEhHalV0bVR2MHFyRGl0YzNtMXdoY1oyVUtvWDU3MUQwR1EKLS0tIGJ1RTZSYmR6ZlNHSk5tSGl3U2hqR1FFUDF4"
    "eEdjSGZtbXlYQUN4SnM4RDAKyqdZXpg65sTtmakjxLONtEgaSwXeS8t+7jAWvlleVEFO4/9QIQ"
)
BY_PASSPHRASE = (
    "YWdlLWVuY3J5cHRpb24ub3JnL3YxCi0+IHNjcnlwdCB4Y2lkcXJQdmwwZzRROEZ5eXU4dHNnIDgKNnM2Ylp2Vlg2b0NBSVp2QkxC"
    "ZEhJbEJrYUcreWRIZHVHWVpBaUJkUy9ZMAotLS0gZ280TkNGT05VTDEwZW5WRjVPMnkxem05eWQwdkM0S09hSU1nV05aYW5QSQom"
    "4WH7RYXsjlDm3HNKCe9gY2IfCjTY/2t6PF4bzUkeWZWkE7kd"
)
IDENTITY = "AGE-SECRET-KEY-1L27NYJDYRNDSCCELNZE8C6JTSH22TLQJVPGD7289KDLMZA5HWN6SZPEHGF"
THEIR_PASSPHRASE = "light-original-energy-average-wish-blind-vendor-pencil-illness-scorpion"


def raw(text: str) -> bytes:
    return base64.b64decode(text + "=" * (-len(text) % 4))


def test_files_of_another_implementation_are_read(tmp_path: Path) -> None:
    """Source: github.com/FiloSottile/typage, tests ("should decrypt a file with the right identity / passphrase")."""
    (tmp_path / "in").write_bytes(raw(BY_IDENTITY))
    encryption.open_with(IDENTITY, tmp_path / "in", tmp_path / "out")
    assert (tmp_path / "out").read_bytes() == b"test\n"
    assert pyrage.passphrase.decrypt(raw(BY_PASSPHRASE), THEIR_PASSPHRASE) == b"test\n"


def test_a_file_is_of_the_open_format_and_opened_by_the_librarys_plain_calls(
    tmp_path: Path, plain: Path, key: encryption.Key
) -> None:
    """The head: age-encryption.org/v1, "Header": the version line, then a stanza for the recipient."""
    encryption.close(plain, tmp_path / "closed", key.public)
    closed = (tmp_path / "closed").read_bytes()
    assert closed.startswith(b"age-encryption.org/v1\n-> X25519 ")
    assert CONTENT[:64] not in closed
    secret = pyrage.passphrase.decrypt(key.closed.encode(), PASSPHRASE).decode()
    assert secret.startswith("AGE-SECRET-KEY-1")
    assert pyrage.decrypt(closed, [pyrage.x25519.Identity.from_str(secret)]) == CONTENT


def test_the_way_back_gives_every_byte(tmp_path: Path, plain: Path, key: encryption.Key) -> None:
    encryption.close(plain, tmp_path / "closed", key.public)
    secret = encryption.secret_of(key.closed, PASSPHRASE)
    encryption.open_with(secret, tmp_path / "closed", tmp_path / "opened")
    assert (tmp_path / "opened").read_bytes() == CONTENT


def test_the_closed_key_is_a_text_to_print_and_holds_no_secret(key: encryption.Key) -> None:
    lines = key.closed.splitlines()
    assert lines[0] == "-----BEGIN AGE ENCRYPTED FILE-----"
    assert all(line.isascii() and len(line) <= 64 for line in lines)
    assert "AGE-SECRET-KEY" not in key.closed
    assert b"AGE-SECRET-KEY" not in base64.b64decode("".join(lines[1:-1]))
    assert key.public.startswith("age1")


@pytest.mark.parametrize("wrong", ["kelp sandbar twine gannets", "Kelp sandbar twine gannet", "", "kelp"])
def test_another_passphrase_opens_nothing(key: encryption.Key, wrong: str) -> None:
    with pytest.raises(Trouble, match="does not open the key"):
        encryption.secret_of(key.closed, wrong)


def test_a_passphrase_is_the_same_on_every_keyboard() -> None:
    """é is one letter or an e with an accent of its own (Unicode Standard Annex 15); blanks at the ends are slips."""
    key = encryption.new_key("caf\u00e9 au lait, s'il vous")
    assert encryption.secret_of(key.closed, "  cafe\u0301 au lait, s'il vous \n")


@pytest.mark.promise("An encrypted copy that is altered or cut anywhere is refused", figure="40 places")
def test_what_is_altered_or_cut_is_refused(tmp_path: Path, plain: Path, key: encryption.Key) -> None:
    encryption.close(plain, tmp_path / "closed", key.public)
    secret = encryption.secret_of(key.closed, PASSPHRASE)
    good = (tmp_path / "closed").read_bytes()
    for part in range(20):
        at = part * len(good) // 20
        altered = bytearray(good)
        altered[at] ^= 1
        for bad in (bytes(altered), good[:at]):
            (tmp_path / "bad").write_bytes(bad)
            with pytest.raises(Trouble, match="damaged"):
                encryption.open_with(secret, tmp_path / "bad", tmp_path / "opened")


def test_another_key_opens_nothing(tmp_path: Path, plain: Path, key: encryption.Key) -> None:
    encryption.close(plain, tmp_path / "closed", key.public)
    other = str(pyrage.x25519.Identity.generate())
    with pytest.raises(Trouble, match="closed with another key"):
        encryption.open_with(other, tmp_path / "closed", tmp_path / "opened")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is Linux's own")
def test_a_full_disk_is_an_error_of_the_system(
    tmp_path: Path, plain: Path, key: encryption.Key, monkeypatch: pytest.MonkeyPatch
) -> None:
    encryption.close(plain, tmp_path / "closed", key.public)
    with pytest.raises(OSError, match="No space left"):
        encryption.close(plain, Path("/dev/full"), key.public)
    with pytest.raises(OSError, match="No space left"):
        encryption.open_with(encryption.secret_of(key.closed, PASSPHRASE), tmp_path / "closed", Path("/dev/full"))
