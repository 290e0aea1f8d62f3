"""Likely causes of what is unusual."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "finding",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("onset_us", sa.BigInteger(), nullable=False),
        sa.Column("end_us", sa.BigInteger(), nullable=True),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", name="pk_finding"),
    )
    op.create_index("ix_finding_farm_onset_us", "finding", ["farm", "onset_us"])


def downgrade() -> None:
    """Drop it."""
    op.drop_table("finding")
