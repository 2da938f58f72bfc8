"""Nothing lost, nobody in

What the book has to know so that it sees what is missing from it, and who asked for what.

Revision ID: 0009
Revises: 0008
"""

import hashlib

import sqlalchemy as sa
from alembic import context, op

from app import logbook
from app.book import filestore
from app.errors import Trouble

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _add_chain()
    _add_what_was_sent()
    _add_elsewhere()
    _take_files_out()


def downgrade() -> None:
    """The same parts, backwards."""
    _take_files_in()
    _drop_elsewhere()
    _drop_what_was_sent()
    _drop_chain()


def _add_chain() -> None:
    """The links of the record of changes, and the digest of each recorded row as it was left last."""
    op.create_table(
        "change_link",
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("save", sa.Integer(), nullable=False),
        sa.Column("outside", sa.Boolean(), nullable=False),
        sa.Column("link", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_change_link_change_id_change")),
        sa.PrimaryKeyConstraint("change_id", name=op.f("pk_change_link")),
    )
    op.create_table(
        "row_digest",
        sa.Column("table_name", sa.String(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("table_name", "row_id", name=op.f("pk_row_digest")),
    )


def _drop_chain() -> None:
    op.drop_table("row_digest")
    op.drop_table("change_link")


def _add_what_was_sent() -> None:
    """What a spent token was spent on: the address, and what stood in the form."""
    op.add_column("once_token", sa.Column("address", sa.String(), nullable=False, server_default=""))
    op.add_column("once_token", sa.Column("sent_json", sa.String(), nullable=False, server_default=""))


def _drop_what_was_sent() -> None:
    op.drop_column("once_token", "sent_json")
    op.drop_column("once_token", "address")


def _add_elsewhere() -> None:
    """The second place for copies, and the key that a copy there is closed with; the workshop says neither."""
    op.add_column("workshop", sa.Column("elsewhere_folder", sa.String(), nullable=False, server_default=""))
    op.add_column("workshop", sa.Column("elsewhere_key", sa.String(), nullable=False, server_default=""))


def _drop_elsewhere() -> None:
    op.drop_column("workshop", "elsewhere_key")
    op.drop_column("workshop", "elsewhere_folder")


FILES = ("curve_file", "altimeter_file", "firing_picture")
OWN = "id, created_at, version, firing_id, name, sha256, size_bytes"
OF_A_PICTURE = "caption, media_type, width, height, voided_at, voided_why"


def _columns(table: str) -> str:
    return f"{OWN}, {OF_A_PICTURE}" if table == "firing_picture" else OWN


def _make(table: str, *more: sa.schema.SchemaItem, whole: str) -> None:
    """A table whose rows are files, with columns of its own."""
    rules: list[sa.schema.SchemaItem] = [
        sa.CheckConstraint(whole, name=op.f(f"ck_{table}_whole")),
        sa.ForeignKeyConstraint(["firing_id"], ["firing.id"], name=op.f(f"fk_{table}_firing_id_firing")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("firing_id", "sha256", name=op.f(f"uq_{table}_firing_id_sha256")),
    ]
    of_a_picture: list[sa.schema.SchemaItem] = []
    if table == "firing_picture":
        of_a_picture = [
            sa.Column("caption", sa.String(), nullable=False),
            sa.Column("media_type", sa.String(), nullable=False),
            sa.Column("width", sa.Integer(), nullable=False),
            sa.Column("height", sa.Integer(), nullable=False),
            sa.Column("voided_at", sa.DateTime(), nullable=True),
            sa.Column("voided_why", sa.String(), nullable=True),
        ]
        rules += [
            sa.CheckConstraint(
                "media_type IN ('image/jpeg', 'image/png', 'image/webp')", name=op.f("ck_firing_picture_media_type")
            ),
            sa.CheckConstraint(
                "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0",
                name=op.f("ck_firing_picture_voided_with_reason"),
            ),
        ]
    op.create_table(
        table,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("firing_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        *of_a_picture,
        *more,
        *rules,
    )
    op.create_index(op.f(f"ix_{table}_firing_id"), table, ["firing_id"])


def _set_aside(table: str) -> None:
    """Put the rows by and drop the table; rows that refer to it wait for its return, until the step is saved."""
    op.execute("PRAGMA defer_foreign_keys=ON")
    op.execute(f"CREATE TABLE put_by AS SELECT {_columns(table)} FROM {table}")
    op.drop_table(table)


def _take_files_out() -> None:
    """The bytes of files leave their rows. They are carried in a table of their own, each content once, until the
    start has moved them to the folder of files: this step happens in the database alone, or not at all.

    Of a picture it is told whether it says where it was taken; nobody looked at those of before.
    """
    op.create_table(
        "carried_file",
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_carried_file")),
    )
    book = op.get_bind()
    for table in FILES:
        for (row_id,) in book.exec_driver_sql(f"SELECT id FROM {table} ORDER BY id").all():
            _carry(book, table, row_id)
        _set_aside(table)
        names = _columns(table)
        if table == "firing_picture":
            location = sa.Column("location", sa.String(), nullable=False, server_default="unknown")
            known = "location IN ('none', 'unknown', 'left_out', 'cut_out', 'kept')"
            rule = sa.CheckConstraint(known, name=op.f("ck_firing_picture_location"))
            _make(table, location, rule, whole="size_bytes > 0")
        else:
            _make(table, whole="size_bytes > 0")
        op.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM put_by ORDER BY id")
        op.drop_table("put_by")


def _carry(book: sa.Connection, table: str, row_id: int) -> None:
    """One file. Where its bytes are not what its checksum said, the bytes that are there are kept, and it is noted."""
    query = f"SELECT sha256, name, firing_id, raw FROM {table} WHERE id = ?"
    told, name, firing, raw = book.exec_driver_sql(query, (row_id,)).one()
    digest = hashlib.sha256(raw).hexdigest()
    book.exec_driver_sql("INSERT OR IGNORE INTO carried_file (sha256, raw) VALUES (?, ?)", (digest, raw))
    if digest != told:
        logbook.note(f"The file {name} of firing {firing} was not what its checksum says. It is kept as it is.")
        book.exec_driver_sql(f"UPDATE OR IGNORE {table} SET sha256 = ? WHERE id = ?", (digest, row_id))


def _take_files_in() -> None:
    """The bytes come back into the rows, from the folder of files."""
    book = op.get_bind()
    connection = book.connection.driver_connection
    assert connection is not None
    if lost := filestore.carry(connection, filestore.around(context.config.attributes["book"])):
        raise Trouble(f"Files that the book names are missing: {', '.join(sorted(lost))}. Nothing was changed.")
    for table in FILES:
        _set_aside(table)
        raw = sa.Column("raw", sa.LargeBinary(), nullable=False)
        _make(table, raw, whole="length(raw) = size_bytes AND size_bytes > 0")
        names = _columns(table)
        op.execute(
            f"INSERT INTO {table} ({names}, raw) SELECT {names}, (SELECT c.raw FROM carried_file c "
            "WHERE c.sha256 = put_by.sha256) FROM put_by ORDER BY id"
        )
        op.drop_table("put_by")
    op.drop_table("carried_file")
