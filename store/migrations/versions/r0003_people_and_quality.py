"""What people write, what quality tests doubt, and with what things were worked out."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make their tables."""
    op.create_table(
        "quality_mark",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("sensor", sa.String(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("test", sa.String(), nullable=False),
        sa.Column("flag", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("readings", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "zone", "quantity", "sensor", "first_us", "test", name="pk_quality_mark"),
    )
    op.create_table(
        "log_entry",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.String(), nullable=False),
        sa.Column("written_us", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", "version", name="pk_log_entry"),
    )
    op.create_index("ix_log_entry_farm_at_us", "log_entry", ["farm", "at_us"])
    op.create_table(
        "basis",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("series", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "kind", "series", name="pk_basis"),
    )


def downgrade() -> None:
    """Drop them."""
    op.drop_table("basis")
    op.drop_table("log_entry")
    op.drop_table("quality_mark")
