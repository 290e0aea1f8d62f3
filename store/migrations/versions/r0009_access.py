"""Tokens, browsers that are signed in, and who wrote what."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "token",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("secret_sha256", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("made_us", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("expires_us", sa.BigInteger(), nullable=True),
        sa.Column("revoked_us", sa.BigInteger(), nullable=True),
        sa.Column("revoked_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "identity", name="pk_token"),
    )
    op.create_table(
        "session",
        sa.Column("cookie_sha256", sa.String(), nullable=False),
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("began_us", sa.BigInteger(), nullable=False),
        sa.Column("expires_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("cookie_sha256", name="pk_session"),
    )
    op.create_index("ix_session_farm_token", "session", ["farm", "token"])
    op.create_table(
        "written",
        sa.Column("number", sa.Integer(), nullable=False, autoincrement=True),
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("token", sa.String(), nullable=True),
        sa.Column("role", sa.String(), nullable=True),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_written"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_written_farm_number", "written", ["farm", "number"])


def downgrade() -> None:
    """Drop them."""
    for table in ("written", "session", "token"):
        op.drop_table(table)
