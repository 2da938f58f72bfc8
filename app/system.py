"""What Windows does in another way than Linux and macOS, both written here and nowhere else."""

import os
import socket
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_LOCK_AT = 1_000_000
"""Where Windows locks a byte: behind the text, which others must be able to read."""


def name() -> str:
    """The system in a word: `windows`, `macos`, or `linux` for it and whatever has its desktops."""
    return {"win32": "windows", "darwin": "macos"}.get(sys.platform, "linux")


@contextmanager
def private() -> Iterator[None]:
    """Files and folders made inside are for the account that runs the program and nobody else: 0600 and 0700.

    On Windows they take the rights of their folder, and those of a person's profile let other accounts out already:
    nothing is done there. A book that is put elsewhere on Windows is as open as its folder.
    """
    before = os.umask(0o077) if sys.platform != "win32" else 0
    try:
        yield
    finally:
        if sys.platform != "win32":
            os.umask(before)


def close_to_others(path: Path) -> bool:
    """Take the rights of other accounts off a file or folder; whether they had any. Nothing is done on Windows.

    A disk that knows no rights (a stick, some networks) leaves it as it is; so does a file of another account.
    """
    if sys.platform == "win32":
        return False
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077 == 0:
            return False
        path.chmod(mode & 0o700)
        return stat.S_IMODE(path.stat().st_mode) != mode
    except OSError:
        return False


def write_private(file: Path, text: str) -> None:
    """Write a small file for this account alone, whole or not at all; nobody else can read it at any moment.

    Raises
    ------
    OSError
        The disk or the folder refuses; what stood there stands there.
    """
    unfinished = file.with_name(f"{file.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(handle, "w", encoding="utf-8") as written:
        written.write(text)
    swap_in(unfinished, file)


def of_another_account(address: str, port: int) -> bool:
    """Whether the other end of a connection over loopback is known to be another account's: Linux tells, no other does.

    Linux lists every connection with the number of its account (proc(5), /proc/net/tcp). The administrator's, 0, is no
    other's: it can read everything anyway, and forwards connections for the person's own programs on some systems.
    """
    try:
        end = f"{_in_table(address)}:{port:04X}"
    except OSError:  # no address of that kind
        return False
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        try:
            lines = Path(table).read_text(encoding="ascii").splitlines()[1:]
        except OSError:
            continue
        for line in lines:
            column = line.split()
            if column[1].endswith(end) and column[3] == "01":  # 01: the connection stands
                return int(column[7]) not in (0, _own_number())
    return False


def _in_table(address: str) -> str:
    """An IPv4 address as that table has it: the number in the machine's own order of bytes."""
    return f"{int.from_bytes(socket.inet_aton(address), sys.byteorder):08X}"


def _own_number() -> int:
    return os.geteuid() if sys.platform != "win32" else 0


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


def stands_at(file: IO[str], place: Path) -> bool:
    """Whether an open file still stands where it was opened."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), place.stat())
    except FileNotFoundError:
        return False


def remove_open(file: IO[str], place: Path) -> None:
    """Take a locked file away while it is still locked; Windows keeps it, for it removes no open file."""
    if sys.platform != "win32" and stands_at(file, place):
        place.unlink()


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


def forget(file: Path) -> None:
    """Let the system forget what it holds of a file in memory, so that reading it asks the drive; Linux alone can."""
    if sys.platform == "linux":
        with file.open("rb") as read:
            os.posix_fadvise(read.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def take_again(listener: socket.socket) -> None:
    """Let a port be taken that was in use until just now."""
    if sys.platform != "win32":  # there the option would let two programs share a port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
