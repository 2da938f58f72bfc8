"""A second place on a small file system that fills up; run on one of its own, see `tests/test_elsewhere.py`.

Prints what is told when there is no room to begin with and when it ends in the middle, and what is there at the end.
"""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from app.book import bookfile, elsewhere
from app.book.elsewhere_thread import ElsewhereThread


def main(book: Path, stick: Path) -> None:
    """Fill it, twice."""
    thread = ElsewhereThread(book)
    folder, key = thread.choose(str(stick), "", "", same_disk=False)
    with closing(sqlite3.connect(book, isolation_level=None)) as connection:
        connection.execute("UPDATE workshop SET elsewhere_folder = ?, elsewhere_key = ?", (folder, key))
    home = elsewhere.read(book).home
    ballast = stick / "ballast"

    def told() -> str:
        thread._rests = None
        thread.look()
        found = thread.standing(folder, key, 0)
        assert found is not None
        return found.trouble

    ballast.write_bytes(bytes(2_700_000))
    print(told())
    elsewhere.SPARE_BYTES = -10_000_000  # as where another program fills it after room was seen
    print(told())
    ballast.unlink()
    trouble = told()
    whole = [bookfile.inspect(one.file) for one in elsewhere.copies_in(home)]
    print(f"whole copies: {len(whole)}; unfinished: {len(list(home.glob('*.unfinished*')))}; trouble: {trouble}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
