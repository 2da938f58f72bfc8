"""An evening of melts

A cast session is an evening with one or more melts; what is looked at on it is kept as a record.

Revision ID: 0010
Revises: 0009
"""

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Each part in its own function below, in this order."""


def downgrade() -> None:
    """The same parts, backwards."""
