"""What is missing from a book: looked for at each start, before anything is written, in a time that does not grow.

The mark beside the book (`app.book.mark`) says how far the record had come; the newest links of the chain are gone
through. What is found is told on the terminal, in the log and on Today until the person has read it.
"""

import sqlite3
from pathlib import Path

from app import clock, logbook
from app.book import backups, bookfile, chain, check, logs, mark
from app.book.mark import Lost, link_at, lost, moment
from app.book.notices import Notices
from app.errors import Trouble
from app.units import counted

NEWEST = 2_000
"""Links gone through at the start; `grainbook check` goes through all."""

COPIES = 30
"""Copies that are asked whether they have what is missing, newest first."""


def look(book: Path) -> None:
    """Hold a book to its mark and go through its newest links, before it is opened; then the mark is of what it is.

    Nothing that is found keeps the book shut, and neither does a file that cannot be looked at: opening it tells why.
    """
    try:
        logs.hold_together(book, thorough=False)  # a log of another book is told as that, and keeps the book shut
        told, notices = mark.read(book), Notices(book)
        if bookfile.blank(book):
            if told is not None:
                _tell_lost(book, notices, Lost(told, None, told.change_id))
                mark.mark_of(book).unlink(missing_ok=True)
            return
        with bookfile.opened(book) as connection:
            found = lost(connection, told) if told else None
            misfit = None
            if chain.has_chain(connection):
                misfit = next(chain.misfits(connection, NEWEST), None)
        if found:
            _tell_lost(book, notices, found)
            with bookfile.opened(book, write=True) as connection:
                bookfile.bring_in(connection)  # what its checklists opened since is not in it
        if misfit and notices.tell(
            f"link {misfit.change_id}",
            "The record of changes was altered past Grainbook",
            f"{check.misfit_words(misfit)} To look through all of it, type: grainbook check --book {book}",
        ):
            logbook.note(f"The record does not fit its chain at change {misfit.change_id}.")
        if found or told is None:
            begin(book)
    except (sqlite3.Error, OSError, Trouble) as error:
        logbook.fault("looking for what is missing from the book", error)


def look_through(book: Path, title: str = "Found before the book was brought to this version") -> list[str]:
    """Hold every link and row to what it was, and put up what does not fit under that title: of a book before a step
    of the schema makes its digests anew, or of one that a zip became. What was found, in words.
    """
    found = [finding.words for finding in check.check(book, questions=check.OF_THE_RECORD) if finding.fault]
    for number, words in enumerate(found):
        Notices(book).tell(f"{title} {number} {words}", title, words)
    if found:
        logbook.note(f"{title}: {len(found)} places are not as they were written.")
    return found


def begin(book: Path) -> None:
    """Make the mark that of what is the book now; also after another file was put in its place knowingly."""
    with bookfile.opened(book) as connection:
        here = chain.head(connection) if chain.has_chain(connection) else None
    if here is None:
        mark.mark_of(book).unlink(missing_ok=True)
    else:
        mark.write(book, here, anew=True)


def lacking(replaced: Path, book: Path) -> str:
    """What the record of a book that was replaced had and the one in its place has not, in words; "" where nothing."""
    try:
        with bookfile.opened(replaced) as before, bookfile.opened(book) as now:
            last = chain.head(before) if chain.has_chain(before) and chain.has_chain(now) else None
            if last is None:
                return ""
            low, high = 0, last.change_id  # links are the same up to where the two part
            while low < high:
                middle = (low + high + 1) // 2
                link = link_at(before, middle)
                low, high = (middle, high) if link is not None and link == link_at(now, middle) else (low, middle - 1)
            sql = "SELECT c.at, l.save FROM change c JOIN change_link l ON l.change_id = c.id WHERE c.id = ?"
            shared = before.execute(sql, (low,)).fetchone()
    except (sqlite3.Error, OSError, Trouble):  # a damaged one: what it had is not known
        return ""
    if low == last.change_id:
        return ""
    if shared is None:
        return f"It is another book: none of the {last.change_id} changes of the one that it replaced are in it."
    saves, changes = last.save - shared[1], last.change_id - low
    return (
        f"The book that it replaced had {counted(saves, 'save')} ({counted(changes, 'change')}) more, made after "
        f"{moment(shared[0])} and up to {moment(last.at)}, which are not in this one."
    )


def _tell_lost(book: Path, notices: Notices, found: Lost) -> None:
    words = [found.words(book.with_name(f"{book.name}-wal")), _keep(book)]
    copy = _copy_with(book, found)
    words.append(copy or "No copy in the folder of copies has more than this book.")
    if notices.tell(f"mark {found.mark.link}", found.title, " ".join(filter(None, words))):
        logbook.note(f"{found.title}: the mark is of change {found.mark.change_id}.")


def _keep(book: Path) -> str:
    """Keep the book as it was found: a log that turns up again fits that file alone."""
    if bookfile.blank(book):
        return ""
    try:
        backups.hold_room(book, book.parent)
        kept = bookfile.keep_beside(book)
    except Trouble as trouble:
        return f"The book as it was found could not be kept beside itself: {trouble.message}"
    return (
        f"The book as it was found is kept as {kept}. If that log turns up, put it beside it as {kept.name}-wal, stop "
        f"Grainbook and type: grainbook restore {kept} --book {book}."
    )


def _copy_with(book: Path, found: Lost) -> str:
    best, reaches = None, found.here.change_id if found.here else 0
    for copy in backups.copies(book)[:COPIES]:
        with bookfile.opened(copy.file) as connection:
            if not chain.has_chain(connection) or (head := chain.head(connection)) is None:
                continue
            put = f"to put it in the book's place, stop Grainbook and type: grainbook restore {copy.file} --book {book}"
            if link_at(connection, found.mark.change_id) == found.mark.link:
                return f"The copy of {clock.day_and_time(copy.made_at)} has all of them; {put}."
            if found.changes and head.change_id > reaches:
                part = f"{head.change_id - reaches} of the missing changes"
                best, reaches = f"The copy of {clock.day_and_time(copy.made_at)} has {part}; {put}.", head.change_id
    return best or ""
