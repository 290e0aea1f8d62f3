"""Rejects, excursions, day sheets and descriptions."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "reject",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "reason", "topic", "name", name="pk_reject"),
    )
    op.create_table(
        "excursion",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("sensor", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("onset_us", sa.BigInteger(), nullable=False),
        sa.Column("end_us", sa.BigInteger(), nullable=True),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("extreme", sa.Double(), nullable=False),
        sa.Column("extreme_us", sa.BigInteger(), nullable=False),
        sa.Column("limit", sa.Double(), nullable=False),
        sa.Column("dose", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", name="pk_excursion"),
    )
    op.create_index("ix_excursion_farm_onset_us", "excursion", ["farm", "onset_us"])
    op.create_index(
        "ix_excursion_farm_zone_quantity_sensor_onset_us",
        "excursion",
        ["farm", "zone", "quantity", "sensor", "onset_us"],
    )
    op.create_table(
        "day_sheet",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("computed_us", sa.BigInteger(), nullable=False),
        sa.Column("description_hash", sa.String(), nullable=False),
        sa.Column("sheet", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "day", name="pk_day_sheet"),
    )
    op.create_table(
        "stale_day",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "day", name="pk_stale_day"),
    )
    op.create_table(
        "description",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("description_hash", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("seen_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "description_hash", name="pk_description"),
    )


def downgrade() -> None:
    """Drop them all."""
    for table in ("reject", "excursion", "day_sheet", "stale_day", "description"):
        op.drop_table(table)
