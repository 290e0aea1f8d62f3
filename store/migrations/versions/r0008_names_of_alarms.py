"""Former names of alarms and what notices told of each, found by key; what lasts and what is planned, by index."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"

TELLING = ("raised", "worse", "escalated", "again", "storm")
FAILED = ("refused", "given_up")
_META = sa.MetaData()
_ALARM = sa.Table(
    "alarm", _META, sa.Column("farm", sa.String), sa.Column("identity", sa.String), sa.Column("detail", sa.JSON)
)
_NOTICE = sa.Table(
    "notice",
    _META,
    *(sa.Column(name, sa.String) for name in ("farm", "identity", "kind", "person", "state")),
    sa.Column("told", sa.JSON),
    sa.Column("made_us", sa.BigInteger),
)
_NAME = sa.Table(
    "alarm_name", _META, *(sa.Column(name, sa.String) for name in ("farm", "name", "identity"))
)  # fmt: skip
_TOLD = sa.Table(
    "notice_alarm",
    _META,
    *(sa.Column(name, sa.String) for name in ("farm", "notice", "alarm", "person")),
    sa.Column("owed", sa.Boolean),
)


def upgrade() -> None:
    """Make tables and indexes, and fill the tables from what stands in the journal."""
    op.create_index("ix_alarm_farm_returned_us_alarm_us", "alarm", ["farm", "returned_us", "alarm_us"])
    op.create_index("ix_log_entry_farm_kind_identity_version", "log_entry", ["farm", "kind", "identity", "version"])
    op.create_table(
        "alarm_name",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "name", name="pk_alarm_name"),
    )
    op.create_index("ix_alarm_name_farm_identity", "alarm_name", ["farm", "identity"])
    op.create_table(
        "notice_alarm",
        sa.Column("farm", sa.String(), nullable=False),
        sa.Column("alarm", sa.String(), nullable=False),
        sa.Column("notice", sa.String(), nullable=False),
        sa.Column("person", sa.String(), nullable=False),
        sa.Column("owed", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("farm", "alarm", "notice", name="pk_notice_alarm"),
    )
    op.create_index("ix_notice_alarm_farm_notice", "notice_alarm", ["farm", "notice"])
    op.create_index("ix_notice_alarm_farm_owed", "notice_alarm", ["farm", "owed"])
    connection = op.get_bind()
    names = {
        (row.farm, name): {"farm": row.farm, "name": name, "identity": row.identity}
        for row in connection.execute(sa.select(_ALARM))
        for name in (row.detail or {}).get("was", ())
        if name != row.identity
    }
    if names:
        connection.execute(_NAME.insert(), list(names.values()))
    if told := list(_told(connection)):
        connection.execute(_TOLD.insert(), told)


def _told(connection: sa.Connection) -> Iterator[dict[str, Any]]:
    """Yield what each notice told, and whether its return is still owed to the person."""
    rows: dict[tuple[str, str, str], dict[str, Any]] = {}
    owed: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
    for notice in connection.execute(sa.select(_NOTICE).order_by(_NOTICE.c.made_us, _NOTICE.c.identity)):
        for one in notice.told:
            alarm, person = one["identity"], notice.person
            lasts = notice.kind in TELLING and notice.state not in FAILED and one["returned_us"] is None
            row = {"farm": notice.farm, "notice": notice.identity, "alarm": alarm, "person": person, "owed": lasts}
            rows[notice.farm, notice.identity, alarm] = row
            if notice.kind == "returned":
                for before in owed.pop((notice.farm, person, alarm), ()):
                    before["owed"] = False
            elif lasts:
                owed.setdefault((notice.farm, person, alarm), []).append(row)
    yield from rows.values()


def downgrade() -> None:
    """Drop them."""
    op.drop_table("notice_alarm")
    op.drop_table("alarm_name")
    op.drop_index("ix_log_entry_farm_kind_identity_version", "log_entry")
    op.drop_index("ix_alarm_farm_returned_us_alarm_us", "alarm")
