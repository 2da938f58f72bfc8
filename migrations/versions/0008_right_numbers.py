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
    _add_doubt()


def downgrade() -> None:
    """The same parts, backwards."""
    _drop_doubt()
    _drop_rail_angle()
    _drop_units()


UNITS = {
    "heavy_mass_unit": "kg",
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
    op.add_column("workshop", sa.Column("rail_angle_rad", sa.Float(), nullable=False, server_default="0.3490658503988659"))


def _drop_rail_angle() -> None:
    op.drop_column("workshop", "rail_angle_rad")


def _add_doubt() -> None:
    """What a reading of the pan would be in the other degrees, while it is not said which were meant."""
    op.add_column("temperature_reading", sa.Column("doubted_k", sa.Float(), nullable=True))


def _drop_doubt() -> None:
    op.drop_column("temperature_reading", "doubted_k")
