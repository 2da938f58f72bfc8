"""The firing log

Igniter, delay, air and what was seen in each firing; what was found of a failure; pictures and references; altimeters.

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

WORDS = ("igniter", "igniter_made", "delay_words")
CHOSEN = ("wind_from", "smoke", "nozzle_seen")
MEASURED = {
    "delay_planned": "delay_planned_s",
    "delay_seen": "delay_seen_s",
    "lit_after": "lit_after_s",
    "humidity": "humidity_share",
    "air_pressure": "air_pressure_pa",
}
MARKED = ("chuffed", "spat")


def _firing_columns() -> list[sa.Column]:
    columns = [sa.Column(name, sa.String(), nullable=False, server_default="") for name in WORDS]
    columns += [sa.Column(name, sa.String(), nullable=True) for name in CHOSEN]
    for name, measured in MEASURED.items():
        columns += [
            sa.Column(measured, sa.Float(), nullable=True),
            sa.Column(f"{name}_typed", sa.String(), nullable=True),
        ]
    columns += [sa.Column(name, sa.Boolean(), nullable=False, server_default="0") for name in MARKED]
    return columns


def _row(table: str, *more: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        *more,
        sa.PrimaryKeyConstraint("id", name=f"pk_{table}"),
    )


def _belongs_to(table: str, noun: str) -> list[sa.schema.SchemaItem]:
    column = f"{noun}_id"
    return [
        sa.Column(column, sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint([column], [f"{noun}.id"], name=f"fk_{table}_{column}_{noun}"),
    ]


def _texts(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.String(), nullable=False) for name in names]


def _file(table: str) -> list[sa.schema.SchemaItem]:
    return [
        *_belongs_to(table, "firing"),
        *_texts("name", "sha256"),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("length(raw) = size_bytes AND size_bytes > 0", name=f"ck_{table}_whole"),
        sa.UniqueConstraint("firing_id", "sha256", name=f"uq_{table}_firing_id_sha256"),
    ]


def _voided(table: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("voided_at", sa.DateTime(), nullable=True),
        sa.Column("voided_why", sa.String(), nullable=True),
        sa.CheckConstraint(
            "voided_at IS NULL OR coalesce(length(voided_why), 0) > 0", name=f"ck_{table}_voided_with_reason"
        ),
    ]


INDEXED = (
    ("firing_finding", "firing_id"),
    ("suspect_grain", "firing_finding_id"),
    ("suspect_grain", "grain_id"),
    ("firing_picture", "firing_id"),
    ("firing_reference", "firing_id"),
    ("altimeter_file", "firing_id"),
    ("altimeter_track", "firing_id"),
    ("altimeter_track", "altimeter_file_id"),
)


def upgrade() -> None:
    """The columns of the log, and the tables of what belongs to a firing."""
    for column in _firing_columns():
        op.add_column("firing", column)
    parts = [name for part in ("case", "closure", "nozzle", "remains") for name in (f"{part}_found", f"{part}_words")]
    _row("firing_finding", *_belongs_to("firing_finding", "firing"), *_texts(*parts, "suspicion"))
    _row(
        "suspect_grain",
        *_belongs_to("suspect_grain", "firing_finding"),
        *_belongs_to("suspect_grain", "grain"),
        sa.UniqueConstraint("firing_finding_id", "grain_id", name="uq_suspect_grain_firing_finding_id_grain_id"),
    )
    _row(
        "firing_picture",
        *_file("firing_picture"),
        *_texts("caption", "media_type"),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'image/webp')", name="ck_firing_picture_media_type"
        ),
        *_voided("firing_picture"),
    )
    _row(
        "firing_reference",
        *_belongs_to("firing_reference", "firing"),
        *_texts("address", "caption"),
        *_voided("firing_reference"),
    )
    _row("altimeter_file", *_file("altimeter_file"))
    _row(
        "altimeter_track",
        *_belongs_to("altimeter_track", "firing"),
        *_belongs_to("altimeter_track", "altimeter_file"),
        sa.Column("apogee_m", sa.Float(), nullable=False),
        sa.Column("apogee_time_s", sa.Float(), nullable=False),
        sa.Column("landing_time_s", sa.Float(), nullable=True),
        sa.Column("first_descent_m_s", sa.Float(), nullable=True),
        sa.Column("second_descent_m_s", sa.Float(), nullable=True),
        *_texts("reading_json", "result_json"),
        sa.CheckConstraint("apogee_m > 0 AND apogee_time_s > 0", name="ck_altimeter_track_flew"),
    )
    for table, column in INDEXED:
        op.create_index(f"ix_{table}_{column}", table, [column], unique=False)


def downgrade() -> None:
    """Without them."""
    for table, column in reversed(INDEXED):
        op.drop_index(f"ix_{table}_{column}", table_name=table)
    for table in ("altimeter_track", "altimeter_file", "firing_reference", "firing_picture", "suspect_grain"):
        op.drop_table(table)
    op.drop_table("firing_finding")
    for column in reversed(_firing_columns()):
        op.execute(f"ALTER TABLE firing DROP COLUMN {column.name}")  # without rebuilding a table that others point at
