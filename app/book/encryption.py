"""Copies closed with a passphrase, in the open format age-encryption.org/v1: by pyrage, streamed through files.

Copies are made each day with nobody there to type. So a pair of keys is made when this is chosen: the workshop keeps
the public one, which only closes; the secret one, which opens, is itself closed with the passphrase and laid beside
the copies. The passphrase is kept nowhere: whoever loses it loses the copies.
"""

import unicodedata
from dataclasses import dataclass
from pathlib import Path

from app.errors import Trouble

HEAD = b"age-encryption.org/v1\n"
"""What every file of the format begins with (age-encryption.org/v1, "File format")."""


@dataclass(frozen=True)
class Key:
    """A pair of keys: the public one, and the secret one closed with a passphrase, as a text to print or keep."""

    public: str
    closed: str

    @property
    def name(self) -> str:
        """What the pair is called in the names of files."""
        return name_of(self.public)


def name_of(public: str) -> str:
    """A short name of a pair of keys, out of its public one."""
    return public.removeprefix("age1")[:8]


def tidy(passphrase: str) -> str:
    """A passphrase as every keyboard means it: é is one letter or two signs, by the system it is typed on."""
    return unicodedata.normalize("NFKC", passphrase.strip())


def new_key(passphrase: str) -> Key:
    """A new pair of keys, closed with a passphrase; takes about a second, which is what guessing it takes too."""
    from pyrage import passphrase as by_passphrase
    from pyrage import x25519

    secret = x25519.Identity.generate()
    closed = by_passphrase.encrypt(str(secret).encode(), tidy(passphrase), armored=True)
    return Key(str(secret.to_public()), closed.decode("ascii"))


def secret_of(closed: str, passphrase: str) -> str:
    """The secret key, opened with its passphrase.

    Raises
    ------
    Trouble
        It is another passphrase, or the text is no longer what it was.
    """
    from pyrage import DecryptError
    from pyrage import passphrase as by_passphrase

    try:
        return str(by_passphrase.decrypt(closed.encode(), tidy(passphrase)), "ascii")
    except (DecryptError, OSError, ValueError) as error:
        raise Trouble(
            "This passphrase does not open the key beside the copies. Nothing was changed. Look at capitals and at the "
            "keyboard's language, then try again.",
            kind="passphrase",
        ) from error


def close(source: Path, target: Path, public: str) -> None:
    """Encrypt a file for a public key.

    Raises
    ------
    OSError
        The disk is full or refuses.
    """
    from pyrage import EncryptError, encrypt_io, x25519

    with source.open("rb") as read, target.open("wb") as written:
        try:
            encrypt_io(read, written, [x25519.Recipient.from_str(public)])
        except EncryptError as error:  # it tells an error of the system by its words alone
            written.flush()
            raise OSError(None, str(error)) from error


def open_with(secret: str, source: Path, target: Path) -> None:
    """Decrypt a file with a secret key; what is altered by a single bit is refused.

    Raises
    ------
    Trouble
        It was closed for another key, or it is not what was written.
    OSError
        The disk is full or refuses.
    """
    from pyrage import DecryptError, decrypt_io, x25519

    with source.open("rb") as read, target.open("wb") as written:
        try:
            decrypt_io(read, written, [x25519.Identity.from_str(secret)])
        except (DecryptError, OSError) as error:
            if isinstance(error, OSError) and error.errno is not None:
                raise
            raise Trouble(
                f"{source} is damaged, or was closed with another key. Nothing was changed. Use another copy.",
                kind="damaged",
            ) from error
