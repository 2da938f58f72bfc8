"""How a stand's files are read is remembered

What was chosen for a file of a stand, with the shape of that file, is proposed for the stand's next file.

Revision ID: 0012
Revises: 0011
"""

import sqlalchemy as sa
from alembic import op

from app import logbook

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """One table; what was read so far stays as it was."""
    op.create_table(
        "stand_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("stand", sa.String(), nullable=False),
        sa.Column("curve_id", sa.Integer(), nullable=False),
        sa.Column("delimiter", sa.String(), nullable=False),
        sa.Column("decimal", sa.String(), nullable=False),
        sa.Column("columns", sa.Integer(), nullable=False),
        sa.Column("heads_json", sa.String(), nullable=False),
        sa.Column("reading_json", sa.String(), nullable=False),
        sa.CheckConstraint("columns >= 1", name=op.f("ck_stand_reading_columns")),
        sa.CheckConstraint("length(stand) > 0", name=op.f("ck_stand_reading_named")),
        sa.ForeignKeyConstraint(["curve_id"], ["curve.id"], name=op.f("fk_stand_reading_curve_id_curve")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stand_reading")),
    )
    op.create_index(op.f("ix_stand_reading_stand"), "stand_reading", ["stand"])
    op.create_index(op.f("ix_stand_reading_curve_id"), "stand_reading", ["curve_id"])


def downgrade() -> None:
    """What was remembered is not kept by the older schema, and that is noted; each file's own reading stays with it."""
    if count := op.get_bind().scalar(sa.select(sa.func.count()).select_from(sa.table("stand_reading"))):
        logbook.note(f"{count} remembered readings of stands are not kept by schema 0011.")
    op.drop_table("stand_reading")
