"""Bring a book to this program's schema. Batch mode, because SQLite cannot alter a constraint in place."""

from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlmodel import SQLModel

import app.models  # noqa: F401  (fills the metadata)
from app.book import chain, guards
from app.db import open_engine

config = context.config


def render_item(kind: str, value: object, autogen_context: AutogenContext) -> str | Literal[False]:
    """Write our own column type by its plain SQL type in new migrations."""
    if kind == "type" and value.__class__.__name__ == "Utc":
        return "sa.DateTime()"
    if kind == "type" and value.__class__.__name__ == "AutoString":
        return "sa.String()"
    return False


def run() -> None:
    engine = open_engine(config.attributes["book"])
    with engine.execution_options(writes=True).connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=SQLModel.metadata,
            render_as_batch=True,
            render_item=render_item,
            transactional_ddl=True,
        )
        with context.begin_transaction():
            guards.remove(connection)
            before = context.get_context().get_current_revision()
            context.run_migrations()
            after = context.get_context().get_current_revision()
            if after == context.script.get_current_head():
                if after != before:  # rows read otherwise now; what they were held to before is done by then
                    chain.renew(chain.plain(connection))
                guards.install(connection)
    engine.dispose()


run()
