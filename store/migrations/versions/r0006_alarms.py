"""Alarms, what later readings changed on them, and what people did about them."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "alarm",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("onset_us", sa.BigInteger(), nullable=False),
        sa.Column("alarm_us", sa.BigInteger(), nullable=False),
        sa.Column("returned_us", sa.BigInteger(), nullable=True),
        sa.Column("priority", sa.String(), nullable=False),
        sa.Column("group_name", sa.String(), nullable=False),
        sa.Column("suppressed_by", sa.String(), nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", name="pk_alarm"),
    )
    op.create_index("ix_alarm_farm_alarm_us", "alarm", ["farm", "alarm_us"])
    op.create_index("ix_alarm_farm_condition_onset_us", "alarm", ["farm", "condition", "onset_us"])
    op.create_table(
        "alarm_revision",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("written_us", sa.BigInteger(), nullable=False),
        sa.Column("changed", sa.JSON(), nullable=False),
        sa.Column("gone", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", "number", name="pk_alarm_revision"),
    )
    op.create_index("ix_alarm_revision_farm_written_us", "alarm_revision", ["farm", "written_us"])
    op.create_table(
        "alarm_act",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_alarm_act"),
    )
    op.create_index("ix_alarm_act_farm_at_us", "alarm_act", ["farm", "at_us"])
    op.create_index("ix_alarm_act_farm_about", "alarm_act", ["farm", "about"])


def downgrade() -> None:
    """Drop them."""
    for table in ("alarm_act", "alarm_revision", "alarm"):
        op.drop_table(table)
