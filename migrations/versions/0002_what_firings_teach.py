"""What firings teach

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Fits of firings, firings left out, formulas paused, and the workshop's switch."""
    op.create_table(
        "firing_fit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("firing_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("fit_json", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["firing_id"], ["firing.id"], name=op.f("fk_firing_fit_firing_id_firing")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firing_fit")),
        sa.UniqueConstraint("firing_id", name=op.f("uq_firing_fit_firing_id")),
    )
    op.create_table(
        "firing_left_out",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("firing_id", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("back_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["firing_id"], ["firing.id"], name=op.f("fk_firing_left_out_firing_id_firing")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firing_left_out")),
    )
    op.create_index(op.f("ix_firing_left_out_firing_id"), "firing_left_out", ["firing_id"])
    op.create_index(
        "uq_firing_left_out_now", "firing_left_out", ["firing_id"], unique=True, sqlite_where=sa.text("back_at IS NULL")
    )
    op.create_table(
        "learning_pause",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("formula_name", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learning_pause")),
    )
    op.create_index(
        "uq_learning_pause_now", "learning_pause", ["formula_name"], unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
    )
    op.add_column("workshop", sa.Column("learn", sa.Boolean(), nullable=False, server_default=sa.text("1")))


def downgrade() -> None:
    """Take them away; what firings said can be read out of the record again."""
    op.drop_column("workshop", "learn")
    op.drop_table("learning_pause")
    op.drop_table("firing_left_out")
    op.drop_table("firing_fit")
