"""Rules that the database itself keeps, whoever writes: triggers, installed after each migration.

Services check the same rules first and explain them; a guard is what stops a stale tab, another
program or a slip in our own code. Kept apart from the migrations because rebuilding a table drops
its triggers.
"""

from sqlalchemy import Connection

from app.book import record, record_guards, season_guards, session_guards

GUARDS: dict[str, str] = record.triggers() | dict(
    [*session_guards.GUARDS, *record_guards.GUARDS, *season_guards.GUARDS]
)
"""Each trigger's SQL by its name: the rules above, and the record of changes."""


def remove(connection: Connection) -> None:
    """Take all guards off, so that a migration may rebuild tables."""
    rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all()
    for (name,) in rows:
        connection.exec_driver_sql(f'DROP TRIGGER "{name}"')


def install(connection: Connection) -> None:
    """Put all guards on the book."""
    for sql in GUARDS.values():
        connection.exec_driver_sql(sql)
