"""History

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The record of changes, and who works here."""
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("device", sa.String(), nullable=True),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("table_name", sa.String(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("column_name", sa.String(), nullable=False),
        sa.Column("before", sa.String(), nullable=True),
        sa.Column("before_typed", sa.String(), nullable=True),
        sa.Column("after", sa.String(), nullable=True),
        sa.Column("after_typed", sa.String(), nullable=True),
        sa.CheckConstraint("what IN ('entered', 'changed', 'deleted')", name=op.f("ck_change_what")),
        sa.CheckConstraint("(what = 'changed') = (column_name <> '')", name=op.f("ck_change_column")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
    )
    op.create_index("ix_change_row", "change", ["table_name", "row_id"])
    op.create_table(
        "act_in_hand",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("device", sa.String(), nullable=True),
        sa.Column("why", sa.String(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_act_in_hand_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_act_in_hand")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("name <> ''", name=op.f("ck_person_name")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("name", name=op.f("uq_person_name")),
    )
    # A reading of the pan, a re-weigh and a measured throat can be struck out from now on, as a weighed amount always could.
    for table in ("temperature_reading", "re_weigh", "nozzle_measure"):
        op.add_column(table, sa.Column("voided_at", sa.DateTime(), nullable=True))
        op.add_column(table, sa.Column("voided_why", sa.String(), nullable=True))


def downgrade() -> None:
    """Take it all out again; what was recorded and struck out since is lost."""
    for table in ("nozzle_measure", "re_weigh", "temperature_reading"):
        op.drop_column(table, "voided_why")  # SQLite drops a column in place and keeps the table's checks
        op.drop_column(table, "voided_at")
    op.drop_table("person")
    op.drop_table("act_in_hand")
    op.drop_index("ix_change_row", table_name="change")
    op.drop_table("change")
