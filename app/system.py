"""What Windows does in another way than Linux and macOS, both written here and nowhere else."""

import os
import socket
import sys
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_LOCK_AT = 1_000_000
"""Where Windows locks a byte: behind the text, which others must be able to read."""


def lock(file: IO[str]) -> None:
    """Lock an open file until it is closed or the program ends, however it ends.

    Raises
    ------
    BlockingIOError
        Another program has locked it.
    OSError
        The folder, perhaps on a network, knows no locks.
    """
    if sys.platform == "win32":
        file.seek(_LOCK_AT)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            raise BlockingIOError from error
    else:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def swap_in(new: Path, target: Path) -> None:
    """Put a finished file where another may stand; whatever happens, one of the two stands there whole.

    Both are in one folder, and nobody has either open: Windows refuses to move an open file.

    Raises
    ------
    OSError
        A file is in use or the disk refuses.
    """
    flush(new)
    os.replace(new, target)
    flush_folder(target.parent)


def flush(file: Path) -> None:
    """Wait until a file is on disk."""
    with file.open("rb+") as written:  # Windows flushes only what may be written
        os.fsync(written.fileno())


def flush_folder(folder: Path) -> None:
    """Wait until the names in a folder are on disk; Windows cannot be asked for it."""
    if sys.platform != "win32":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def take_again(listener: socket.socket) -> None:
    """Let a port be taken that was in use until just now."""
    if sys.platform != "win32":  # there the option would let two programs share a port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
