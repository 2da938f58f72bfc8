"""The demonstration book: `demo_data/workshop.toml` acted out through the services, with the clock turned back.

`hardware` (what the workshop owns), `winters` (evenings of one melt, and the shelf), `evenings` (of several), `firings`
and `log` (motors), `looks` (near misses, checks, looks at grains), `season` (what is wanted next), each a few acts of
`maker`. In: the story. Out: a book in which every rule was kept. All of it is invented.
"""

import tomllib
from collections.abc import Callable
from pathlib import Path

from app import clock, first_run, system
from app.book import mark, missing
from app.db import migrate, open_engine, writing
from app.demo import evenings, firings, hardware, looks, season, winters
from app.demo.maker import Maker, Told
from app.settings import resource


def fill(book: Path) -> None:
    """Make a demonstration book; the file appears only when all of it is in."""
    story = tomllib.loads((resource("demo_data") / "workshop.toml").read_text(encoding="utf-8"))
    unfinished = book.with_suffix(".unfinished")
    unfinished.unlink(missing_ok=True)
    migrate(unfinished)
    engine = open_engine(unfinished)
    first_run.prepare(engine)
    with writing(engine) as session, clock.turned_to(clock.now()) as turn:
        _act(Maker(session, turn, older=story["older_codes_days_ago"], seen=story["seen"]), story)
        session.commit()
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    mark.mark_of(unfinished).unlink(missing_ok=True)
    system.swap_in(unfinished, book)
    missing.begin(book)


def _act(maker: Maker, story: Told) -> None:
    """All of it, in the order of its days, ending at the moment the book is made."""
    with maker.signed():
        hardware.own(maker, story)
    days: list[tuple[Callable[[Maker, Told], None], Told]] = []
    days += [(hardware.buy, supply) for supply in story["supply"]]
    days += [(winters.cast_lot, {**lot, "number": number}) for number, lot in enumerate(story["lot"], start=1)]
    days += [(evenings.spend, {**told, "number": len(story["lot"]) + 1}) for told in story["evening"]]
    days += [(winters.look_after, kept) for kept in story["kept"]]
    days += [(looks.tell, told) for told in story["told"]]
    days += [(season.begin, past) for past in story["past_season"]]
    days += [(firings.fire, firing) for firing in story["firing"]]
    for act, told in sorted(days, key=lambda day: -day[1]["days_ago"]):
        maker.at(told["days_ago"])
        with maker.signed():
            act(maker, told)
    maker.at(1)
    with maker.signed():
        firings.load(maker, story["build"])
    maker.turn(maker.start)
    with maker.signed():
        for told in story["planned"]:
            winters.plan(maker, told)
        season.stock(maker, story)
        season.begin(maker, story["season"])
        winters.run(maker, story["running"])
        season.plan(maker)
    maker.turn(maker.start)
