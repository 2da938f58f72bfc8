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
    _add_checks()
    _add_numbers()
    _add_looks()


def downgrade() -> None:
    """The same parts, backwards."""
    _drop_looks()
    _drop_numbers()
    _drop_checks()
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


def _add_checks() -> None:
    """What scales and thermometers read of what was known."""
    for table, kind in (("scale_check", "kg"), ("thermometer_check", "k")):
        warm = table == "thermometer_check"
        only_warm = [
            sa.Column("against", sa.String(), nullable=False),
            sa.Column("elevation_m", sa.Float(), nullable=True),
            sa.Column("elevation_typed", sa.String(), nullable=True),
            sa.Column("air_pressure_pa", sa.Float(), nullable=True),
            sa.Column("air_pressure_typed", sa.String(), nullable=True),
        ]
        rules = [
            sa.CheckConstraint(f"tolerance_{kind} > 0", name=op.f(f"ck_{table}_tolerance")),
            sa.CheckConstraint(
                "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=op.f(f"ck_{table}_voided_with_reason")
            ),
        ]
        op.create_table(
            table,
            sa.Column("id", sa.Integer(), nullable=False),
            sa.Column("created_at", sa.DateTime(), nullable=False),
            sa.Column("version", sa.Integer(), nullable=False),
            sa.Column("instrument", sa.String(), nullable=False),
            sa.Column("checked_at", sa.DateTime(), nullable=False),
            *(only_warm if warm else []),
            sa.Column(f"known_{kind}", sa.Float(), nullable=False),
            sa.Column("known_typed", sa.String(), nullable=warm),
            sa.Column(f"read_{kind}", sa.Float(), nullable=False),
            sa.Column("read_typed", sa.String(), nullable=False),
            sa.Column(f"tolerance_{kind}", sa.Float(), nullable=False),
            sa.Column("tolerance_typed", sa.String(), nullable=False),
            sa.Column("person", sa.String(), nullable=False),
            sa.Column("note", sa.String(), nullable=False),
            sa.Column("voided_at", sa.DateTime(), nullable=True),
            sa.Column("voided_why", sa.String(), nullable=True),
            *rules,
            *([] if warm else [sa.CheckConstraint("known_kg > 0", name=op.f("ck_scale_check_known"))]),
            sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        )
        op.create_index(op.f(f"ix_{table}_instrument"), table, ["instrument"])


def _drop_checks() -> None:
    op.drop_table("thermometer_check")
    op.drop_table("scale_check")


def _add_numbers() -> None:
    """The numbers that a line of the checklist took, for the blanks in its words; lines of before had none."""
    op.execute(
        "ALTER TABLE checklist_answer ADD COLUMN numbers_json VARCHAR NOT NULL DEFAULT '[]' "
        "CONSTRAINT ck_checklist_answer_numbers CHECK (answer = 'done' OR numbers_json = '[]')"
    )


def _drop_numbers() -> None:
    op.drop_column("checklist_answer", "numbers_json")


def _add_looks() -> None:
    """What was seen of each grain, and pictures of it."""
    with_reason = "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0"
    op.create_table(
        "grain_look",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("grain_id", sa.Integer(), nullable=False),
        sa.Column("looked_at", sa.DateTime(), nullable=False),
        sa.Column("faces", sa.String(), nullable=False),
        sa.Column("outer_face", sa.String(), nullable=False),
        sa.Column("inhibitor", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint(with_reason, name=op.f("ck_grain_look_voided_with_reason")),
        sa.ForeignKeyConstraint(["grain_id"], ["grain.id"], name=op.f("fk_grain_look_grain_id_grain")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grain_look")),
    )
    op.create_index(op.f("ix_grain_look_grain_id"), "grain_look", ["grain_id"])
    op.create_table(
        "grain_picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("grain_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("location", sa.String(), nullable=False, server_default="unknown"),
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint("size_bytes > 0", name=op.f("ck_grain_picture_whole")),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'image/webp')", name=op.f("ck_grain_picture_media_type")
        ),
        sa.CheckConstraint(
            "location IN ('none', 'unknown', 'left_out', 'cut_out', 'kept')", name=op.f("ck_grain_picture_location")
        ),
        sa.CheckConstraint(with_reason, name=op.f("ck_grain_picture_voided_with_reason")),
        sa.ForeignKeyConstraint(["grain_id"], ["grain.id"], name=op.f("fk_grain_picture_grain_id_grain")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grain_picture")),
        sa.UniqueConstraint("grain_id", "sha256", name=op.f("uq_grain_picture_grain_id_sha256")),
    )
    op.create_index(op.f("ix_grain_picture_grain_id"), "grain_picture", ["grain_id"])


def _drop_looks() -> None:
    op.drop_table("grain_picture")
    op.drop_table("grain_look")
