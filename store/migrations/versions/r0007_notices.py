"""Notices with their tries, and links for acknowledging."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "notice",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("group_name", sa.String(), nullable=False),
        sa.Column("turn", sa.BigInteger(), nullable=False),
        sa.Column("priority", sa.String(), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.Column("made_us", sa.BigInteger(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("tries", sa.BigInteger(), nullable=False),
        sa.Column("next_us", sa.BigInteger(), nullable=False),
        sa.Column("sent_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("farm", "identity", name="pk_notice"),
    )
    op.create_index("ix_notice_farm_made_us", "notice", ["farm", "made_us"])
    op.create_index("ix_notice_farm_state", "notice", ["farm", "state"])
    op.create_table(
        "notice_try",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("notice", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("began_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=True),
        sa.Column("answer", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "notice", "number", name="pk_notice_try"),
    )
    op.create_table(
        "notice_link",
        sa.Column("token_sha256", sa.String(), nullable=False),
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("notice", sa.String(), nullable=False),
        sa.Column("group_name", sa.String(), nullable=False),
        sa.Column("alarms", sa.JSON(), nullable=False),
        sa.Column("expires_us", sa.BigInteger(), nullable=False),
        sa.Column("used_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("token_sha256", name="pk_notice_link"),
    )
    op.create_index("ix_notice_link_farm_notice", "notice_link", ["farm", "notice"])


def downgrade() -> None:
    """Drop them."""
    for table in ("notice_link", "notice_try", "notice"):
        op.drop_table(table)
