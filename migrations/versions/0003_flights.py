"""Flights

Rails, reference areas, drag tables and parachutes of rockets; the size of fields; the mass of empty cases; a person's
own least distances.

Revision ID: 0003
Revises: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COLUMNS: dict[str, list[tuple[str, str, str | None]]] = {
    "rocket": [
        ("reference_d_m", "", None),
        ("reference_area_m2", "one_basis", "reference_d_m IS NULL OR reference_area_m2 IS NULL"),
        ("rail_length_m", "", None),
        ("rail_tilt_rad", "rail", "rail_tilt_rad IS NULL OR rail_tilt_rad BETWEEN 0 AND 0.35"),
        ("main_d_m", "", None),
        ("main_cd", "main", "(main_d_m IS NULL) = (main_cd IS NULL)"),
        ("main_altitude_m", "", None),
        ("drogue_d_m", "", None),
        ("drogue_cd", "drogue", "(drogue_d_m IS NULL) = (drogue_cd IS NULL)"),
        ("opening_delay_s", "", None),
        ("main_basis", "", None),
        ("drogue_basis", "chute_basis", "main_basis IN ('flat', 'open') AND drogue_basis IN ('flat', 'open')"),
    ],
    "launch_field": [
        ("length_m", "", None),
        ("radius_m", "radius", "radius_m IS NULL OR (radius_m > 0 AND length_m IS NULL)"),
        ("width_m", "rectangle", "(length_m IS NULL) = (width_m IS NULL)"),
        ("long_axis_rad", "size", "length_m IS NULL OR (length_m > 0 AND width_m > 0)"),
    ],
    "motor_case": [("empty_mass_kg", "", None), ("empty_mass_typed", "", None)],
}
"""Added one by one, each rule with the last column it speaks of: no table is made anew, so rows that refer to these
tables stay in place. Taken away in the opposite order."""


def _row(table: str, *more: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        *more,
        sa.PrimaryKeyConstraint("id", name=f"pk_{table}"),
    )


def _column(table: str, name: str, rule_name: str, rule: str | None) -> sa.Column:
    rules = [sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{rule_name}"))] if rule else []
    if name.endswith("_basis"):
        return sa.Column(name, sa.String(), *rules, nullable=False, server_default="flat")
    return sa.Column(name, sa.String() if name.endswith("_typed") else sa.Float(), *rules, nullable=True)


def upgrade() -> None:
    """Add what flights need."""
    for table, columns in COLUMNS.items():
        for name, rule_name, rule in columns:
            op.add_column(table, _column(table, name, rule_name, rule))
    _row(
        "drag_point",
        sa.Column("rocket_id", sa.Integer(), nullable=False),
        sa.Column("mach", sa.Float(), nullable=False),
        sa.Column("coefficient", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["rocket_id"], ["rocket.id"], name="fk_drag_point_rocket_id_rocket"),
        sa.UniqueConstraint("rocket_id", "mach", name="uq_drag_point_rocket_id_mach"),
        sa.CheckConstraint("mach >= 0 AND coefficient > 0", name=op.f("ck_drag_point_positive")),
    )
    _row(
        "own_distance",
        sa.Column("impulse_class", sa.String(), nullable=False),
        sa.Column("single_m", sa.Float(), nullable=False),
        sa.Column("complex_m", sa.Float(), nullable=True),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("dated", sa.Date(), nullable=False),
        sa.UniqueConstraint("impulse_class", name="uq_own_distance_impulse_class"),
        sa.CheckConstraint("single_m > 0", name=op.f("ck_own_distance_single")),
        sa.CheckConstraint("complex_m IS NULL OR complex_m >= single_m", name=op.f("ck_own_distance_complex")),
    )


def downgrade() -> None:
    """Take it away again; what it held is lost."""
    op.drop_table("own_distance")
    op.drop_table("drag_point")
    for table, columns in COLUMNS.items():
        for name, _, _ in reversed(columns):
            op.drop_column(table, name)
