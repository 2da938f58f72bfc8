"""Right numbers

What the book has to know so that its numbers are right and no surer than they are.

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""
    _add_units()
    _add_rail_angle()
    _add_least_port()
    _add_doubt()
    _wet_grains()
    _dissolved()
    _add_pan()
    _add_spreads()


def downgrade() -> None:
    """The same parts, backwards."""
    _drop_spreads()
    _drop_pan()
    _no_wet_grains()
    _drop_doubt()
    _drop_least_port()
    _drop_rail_angle()
    _drop_units()


UNITS = {
    "heavy_mass_unit": "g",
    "force_unit": "N",
    "impulse_unit": "N·s",
    "burn_rate_unit": "mm/s",
    "area_unit": "mm²",
    "volume_unit": "cm³",
    "density_unit": "g/cm³",
}


def _add_units() -> None:
    """A unit of its own for every kind; a workshop in inches, ounces or psi gets those that belong to them."""
    for name, metric in UNITS.items():
        op.add_column("workshop", sa.Column(name, sa.String(), nullable=False, server_default=metric))
    op.execute("UPDATE workshop SET heavy_mass_unit = 'lb' WHERE mass_unit = 'oz'")
    op.execute(
        "UPDATE workshop SET area_unit = 'in²', volume_unit = 'in³', burn_rate_unit = 'in/s' WHERE length_unit = 'in'"
    )
    op.execute("UPDATE workshop SET force_unit = 'lbf', impulse_unit = 'lbf·s' WHERE pressure_unit = 'psi'")


def _drop_units() -> None:
    for name in reversed(UNITS):
        op.drop_column("workshop", name)


def _add_rail_angle() -> None:
    """The largest angle of the air that meets a rocket off its rail: 20 degrees."""
    op.add_column(
        "workshop", sa.Column("rail_angle_rad", sa.Float(), nullable=False, server_default="0.3490658503988659")
    )


def _drop_rail_angle() -> None:
    op.drop_column("workshop", "rail_angle_rad")


def _add_least_port() -> None:
    """The workshop's own mark for port over throat: 2, a rule of thumb, as it was for all."""
    op.add_column("workshop", sa.Column("least_port_to_throat", sa.Float(), nullable=False, server_default="2.0"))


def _drop_least_port() -> None:
    op.drop_column("workshop", "least_port_to_throat")


def _add_doubt() -> None:
    """What a reading of the pan would be in the other degrees, while it is not said which were meant."""
    op.add_column("temperature_reading", sa.Column("doubted_k", sa.Float(), nullable=True))


def _drop_doubt() -> None:
    op.drop_column("temperature_reading", "doubted_k")


def _wet_grains() -> None:
    """What a re-weigh said, kept with it; who accepted a wet grain; the firings of wet grains that teach all the same.

    What was wet before is worked out here as `calc.graincheck.moisture_gain` does it today.
    """
    op.add_column("re_weigh", sa.Column("wet", sa.Boolean(), nullable=False, server_default=sa.text("0")))
    op.add_column("re_weigh", sa.Column("accepted_at", sa.DateTime(), nullable=True))
    op.add_column("re_weigh", sa.Column("accepted_by", sa.String(), nullable=False, server_default=sa.text("''")))
    op.execute(  # the rule goes with the last column: a batch that rebuilds the table would lose its other rules
        """ALTER TABLE re_weigh ADD COLUMN accepted_why VARCHAR DEFAULT '' NOT NULL CONSTRAINT ck_re_weigh_accepted
        CHECK (accepted_at IS NULL OR (wet AND accepted_why <> '' AND accepted_by <> ''))"""
    )
    op.execute(
        """UPDATE re_weigh SET wet = 1
        WHERE mass_kg - label_kg > 0.8164965809 * scale_resolution_kg
          AND (mass_kg - label_kg > 1.001 * scale_resolution_kg OR mass_kg - label_kg >= 0.001 * label_kg)"""
    )
    op.create_table(
        "firing_let_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("firing_id", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["firing_id"], ["firing.id"], name=op.f("fk_firing_let_in_firing_id_firing")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firing_let_in")),
    )
    op.create_index(op.f("ix_firing_let_in_firing_id"), "firing_let_in", ["firing_id"])
    op.create_index(
        "uq_firing_let_in_now", "firing_let_in", ["firing_id"], unique=True, sqlite_where=sa.text("ended_at IS NULL")
    )


def _dissolved() -> None:
    """Sucrose dissolves in melted sorbitol and does not melt there: say so in a session that is still to reach it."""
    op.execute(
        """UPDATE cast_step
        SET words = replace(words, 'Melt the sucrose', 'Dissolve the sucrose in the melted sorbitol without more heat')
        WHERE key = 'melt:sucrose' AND done_at IS NULL AND EXISTS (SELECT 1 FROM cast_step s
            WHERE s.cast_session_id = cast_step.cast_session_id AND s.key = 'melt:sorbitol')"""
    )


def _no_wet_grains() -> None:
    op.drop_table("firing_let_in")
    for name in ("accepted_why", "accepted_by", "accepted_at", "wet"):
        op.drop_column("re_weigh", name)


PAN = ("pan_capacity", "known_melt")


def _add_pan() -> None:
    """What the pan holds safely, and the largest melt made before the book; unknown until stated."""
    for name in PAN:
        op.add_column("workshop", sa.Column(f"{name}_kg", sa.Float(), nullable=True))
        op.add_column("workshop", sa.Column(f"{name}_typed", sa.String(), nullable=True))


def _drop_pan() -> None:
    for name in reversed(PAN):
        op.drop_column("workshop", f"{name}_typed")
        op.drop_column("workshop", f"{name}_kg")


SPREADS = {"c_star_spread_share": "0.12", "nozzle_spread_share": "0.07"}


def _add_spreads() -> None:
    """How far a workshop may be off its two efficiencies; the efficiencies stay as they were set."""
    for name, usual in SPREADS.items():
        op.add_column("workshop", sa.Column(name, sa.Float(), nullable=False, server_default=usual))


def _drop_spreads() -> None:
    for name in reversed(SPREADS):
        op.drop_column("workshop", name)
