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


def downgrade() -> None:
    """The same parts, backwards."""
