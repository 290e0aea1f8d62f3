"""Wire names that nobody has described, and devices whose clocks are wrong."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make their tables."""
    op.create_table(
        "unknown_name",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("unit", sa.String(), nullable=True),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "name", "topic", name="pk_unknown_name"),
    )
    op.create_table(
        "clock_fault",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("device", sa.String(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("offset_s", sa.Double(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("readings", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "device", "fault", name="pk_clock_fault"),
    )


def downgrade() -> None:
    """Drop them."""
    op.drop_table("clock_fault")
    op.drop_table("unknown_name")
