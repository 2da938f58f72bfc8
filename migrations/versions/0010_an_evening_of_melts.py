"""An evening of melts

A cast session is an evening with one or more melts; what is looked at on it is kept as a record.

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _add_incidents()


def downgrade() -> None:
    """The same parts, backwards."""
    _drop_incidents()


def _add_incidents() -> None:
    """Incidents and near misses, each of the evening and the batch it was told at."""
    op.create_table(
        "incident",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("cast_session_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("happened_at", sa.DateTime(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("sort", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("lesson", sa.String(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=True),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint("kind IN ('incident', 'near miss')", name=op.f("ck_incident_kind")),
        sa.CheckConstraint(
            "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f("ck_incident_voided_with_reason")
        ),
        sa.CheckConstraint("written_at IS NULL OR length(words) > 0", name=op.f("ck_incident_written_in_words")),
        sa.ForeignKeyConstraint(
            ["cast_session_id"], ["cast_session.id"], name=op.f("fk_incident_cast_session_id_cast_session")
        ),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_incident_batch_id_batch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_incident")),
    )
    op.create_index(op.f("ix_incident_cast_session_id"), "incident", ["cast_session_id"])
    op.create_index(op.f("ix_incident_batch_id"), "incident", ["batch_id"])


def _drop_incidents() -> None:
    op.drop_table("incident")
