"""The limit that an excursion passed when it began; not known of those found before."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make room for it."""
    op.add_column("excursion", sa.Column("onset_limit", sa.Double(), nullable=True))


def downgrade() -> None:
    """Drop it."""
    op.drop_column("excursion", "onset_limit")
