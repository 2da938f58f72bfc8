"""The air of the cast

Temperature and humidity of the air a batch was cast in.

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

MEASURED = {"air_temperature": "air_temperature_k", "humidity": "humidity_share"}


def upgrade() -> None:
    """Two measures more of a batch, unknown for those cast before."""
    for name, measured in MEASURED.items():
        op.add_column("batch", sa.Column(measured, sa.Float(), nullable=True))
        op.add_column("batch", sa.Column(f"{name}_typed", sa.String(), nullable=True))


def downgrade() -> None:
    """A batch without them."""
    for name, measured in reversed(MEASURED.items()):
        op.drop_column("batch", f"{name}_typed")
        op.drop_column("batch", measured)
