"""What the command line does with the book's file: copy it, put a copy back, take everything out and in, migrate."""

import getpass
import os
import sqlite3
import sys
from pathlib import Path

from app import clock, logbook
from app.book import backups, bookfile, elsewhere, elsewhere_standing, filestore, logs, sqlite_needs
from app.book.instance import Instance
from app.errors import Trouble


def where(book: Path) -> str:
    """Where the book, its files, its copies and its log are, where the last saves stand, and which SQLite keeps it."""
    sqlite = f"{sqlite3.sqlite_version}. {sqlite_needs.known_fault(sqlite3.sqlite_version_info)}".rstrip()
    files, copies, log = filestore.folder_of(book), backups.folder_of(book), logbook.log_of(book)
    said = f"Book:   {book}\nFiles:  {files}\nCopies: {copies}\nLog:    {log}\nSQLite: {sqlite}"
    return f"{said}\nSaves:  {logs.in_file(book).words}" if book.exists() or bookfile.has_log(book) else said


def migrate(book: Path) -> str:
    """Create the book, or bring it to this version."""
    from app.db import migrate as bring_up

    with Instance(book) as instance:
        bring_up(book)
        instance.follow()
    return f"The book is ready: {book}"


def backup(book: Path, target: Path, replace: bool) -> str:
    """Copy the book with its files to one file, also while it is open; the copy is proved by opening it."""
    _there(book)
    _free(target, book, replace)
    lost = backups.copy(book, target, alone=True)
    told = f"The book was copied to {target} with its files, and the copy was proved by opening it."
    return f"{told} {_without(len(lost))}".rstrip()


def restore(book: Path, file: Path) -> str:
    """Put a copy in the book's place: a file, or the newest copy in a folder such as a second place."""
    from app.book import bring_back

    copy = bring_back.newest_in(file) if file.is_dir() else elsewhere.as_copy(file)
    if copy is None:
        return _restore(book, file)
    print(f"The copy of {clock.day_and_time(copy.made_at)}: {copy.file}", flush=True)
    try:
        with bring_back.readable(copy, book, _passphrase) as plain:
            done = _restore(book, plain, copy.file)
    except Trouble as trouble:
        older = bring_back.before(copy) if trouble.kind == "damaged" else None
        if older is None:
            raise
        raise Trouble(
            f"{copy.file} is damaged. It was left as it is, and nothing was changed. The copy before it is of "
            f"{clock.day_and_time(older.made_at)}: grainbook restore {older.file}",
            kind="damaged",
        ) from trouble
    elsewhere_standing.restored(book, copy)
    return f"{done} {bring_back.reaches(book)}"


def _restore(book: Path, file: Path, named: Path | None = None) -> str:
    from app.book import missing
    from app.db import migrate as bring_up

    with Instance(book) as instance:
        replaced = backups.restore(file, book)
        missing.begin(book)  # a mark of the book that was replaced would call its last saves lost
        bring_up(book)
        instance.follow()
        said = _put_right(book)
    lacks = missing.lacking(replaced, book) if replaced else ""
    kept = f"{_kept(replaced)} is kept as {replaced}." if replaced else "There was no book in its place."
    lost = _without(len(filestore.missing(book)))
    return " ".join(filter(None, [f"The book is now the one of {named or file}.", kept, lacks, lost, said]))


def _passphrase() -> str:
    """The passphrase, typed unseen; from a pipe its first line."""
    if sys.stdin is None or not sys.stdin.isatty():
        typed = sys.stdin.readline() if sys.stdin else ""
    else:
        typed = getpass.getpass("Passphrase of the copies (it is not shown as you type): ")
    if not typed.strip():
        raise Trouble("No passphrase was given. Nothing was changed. Start again when you have it.", kind="passphrase")
    return typed


def check(book: Path) -> int:
    """Ask everything of a book or of a copy, also while it is open; 1 where a fault was found."""
    from app.book import check as asking
    from app.stored_shapes import shapes

    on_screen = sys.stderr.isatty()
    found = asking.check(book, lambda words: print(words, file=sys.stderr) if on_screen else None, shapes())
    for finding in found:
        print(finding.words)
    faults = sum(finding.fault for finding in found)
    if faults:
        many = f"{faults} faults were" if faults > 1 else "1 fault was"
        print(
            f"{many} found in {book}. Nothing was changed. Keep this file. A copy in {backups.folder_of(book)} may "
            "have what is wrong here as it was; to look through it: grainbook check COPY"
        )
        return 1
    print(f"No fault was found in {book}.")
    return 0


def join(book: Path, file: Path) -> str:
    """Bring a book that was moved while it was open and the log it left behind together, in the book's place."""
    from app.book import missing
    from app.db import migrate as bring_up

    with Instance(book) as instance:
        kept = logs.join(file, book)
        missing.begin(book)
        bring_up(book)
        instance.follow()
    return (
        f"{file} and the log it had left behind are the book again: {book}, with {logs.reach(book)}. What lay there is "
        f"kept as {kept}."
    )


def export(book: Path, target: Path, replace: bool) -> str:
    """Write everything in the book to a zip, also while it is open."""
    from app.book import export as whole

    _there(book)
    _free(target, book, replace)
    lost = whole.write(book, target)
    told = f"Everything in the book is in {target}: JSON to be read back, CSV for a spreadsheet, and its files."
    return f"{told} {_without(len(lost))}".rstrip()


def take_in(book: Path, file: Path) -> str:
    """Make the book of such a zip; only a new, empty book is replaced."""
    from app import first_run
    from app.book import import_zip, missing
    from app.stored_shapes import shapes

    with Instance(book):
        logbook.begin(book)
        try:
            replaced = import_zip.import_book(file, book, first_run.prepare, shapes())
        finally:
            logbook.end()
        missing.begin(book)
        altered = missing.look_through(book, "The zip that the book was made of was altered")
        said = _put_right(book)
    kept = f" The empty book that it replaced is kept as {replaced}." if replaced else ""
    warned = f" This zip is not what was exported, or its book had been altered: {altered[0]}" if altered else ""
    return f"The book {book} was made of {file}.{kept}{warned} {said}".rstrip()


def _put_right(book: Path) -> str:
    """See at once to what a book that came back must not be trusted with, as each start would; tells it."""
    from app import first_run
    from app.db import open_engine, writing

    engine = open_engine(book)
    with writing(engine) as session:
        said = first_run.put_right(session)
        session.commit()
    engine.dispose()
    return " ".join(said)


def _without(count: int) -> str:
    """What is said of files of loggers and pictures that were not found; nothing where all were."""
    few = "1 file of a logger or picture" if count == 1 else f"{count} files of loggers or pictures"
    return f"Not found, and so not in it: {few}. Their pages say which." if count else ""


def _kept(replaced: Path) -> str:
    if replaced.name.endswith("-log"):
        return "The log that lay in its place"
    if replaced.with_name(f"{replaced.name}-log").exists():
        return "What it replaced, a book with a log beside it that did not belong to it,"
    return "The book that it replaced"


def _there(book: Path) -> None:
    if not book.is_file():
        raise Trouble(f"There is no book at {book}. Nothing was written. Start grainbook once to make it.")
    logs.hold_together(book, thorough=False)


def _free(target: Path, book: Path, replace: bool) -> None:
    if not target.resolve().parent.is_dir():
        raise Trouble(f"There is no folder {target.parent}. Nothing was written. Make it first, or name another.")
    if target.resolve() in (book.resolve(), *(book.resolve().with_name(book.name + s) for s in bookfile.SIDES)):
        raise Trouble("That is the book itself. Nothing was written. Name another file.")
    if target.is_dir():
        raise Trouble(f"{target} is a folder. Nothing was written. Name a file in it.")
    if target.exists() and not replace:
        raise Trouble(f"{target} is there already and was left as it is. Name another file, or add --replace.")
    if not os.access(target.resolve().parent, os.W_OK):
        raise Trouble(
            f"The folder {target.resolve().parent} can only be read. The book is as it was. Name a file in another "
            "folder, or make this one writable for you."
        )
