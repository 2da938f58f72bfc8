"""Nothing lost, nobody in

What the book has to know so that it sees what is missing from it, and who asked for what.

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _add_chain()
    _add_what_was_sent()
    _add_elsewhere()


def downgrade() -> None:
    """The same parts, backwards."""
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
