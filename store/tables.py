"""The journal's tables, and how their rows become entries and back."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import JSON, BigInteger, Date, Double, Index, LargeBinary, MetaData
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from farm.readings import Series
from store.entries import (
    ClockFault,
    DaySheetEntry,
    ExcursionEntry,
    FindingEntry,
    Reason,
    Reject,
    Side,
    UnknownName,
)
from store.log_entries import DETAIL, LogEntry


class Base(DeclarativeBase):
    """What the tables have in common; named constraints, so that a later migration can find them."""

    metadata = MetaData(naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "pk": "pk_%(table_name)s"})
    type_annotation_map = {int: BigInteger, float: Double, bytes: LargeBinary, date: Date, dict[str, Any]: JSON}  # noqa: RUF012  # SQLAlchemy's way


class RejectRow(Base):
    """Refused arrivals of one kind."""

    __tablename__ = "reject"

    farm: Mapped[str] = mapped_column(primary_key=True)
    reason: Mapped[str] = mapped_column(primary_key=True)
    topic: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(primary_key=True)
    detail: Mapped[str]
    raw: Mapped[bytes]
    first_us: Mapped[int]
    last_us: Mapped[int]
    count: Mapped[int]

    @classmethod
    def of(cls, farm: str, reject: Reject) -> RejectRow:
        """Return the row of an entry."""
        return cls(
            farm=farm,
            reason=str(reject.reason),
            topic=reject.topic,
            name=reject.name,
            detail=reject.detail,
            raw=reject.raw,
            first_us=reject.first_us,
            last_us=reject.last_us,
            count=reject.count,
        )

    def entry(self) -> Reject:
        """Return the entry of this row."""
        return Reject(
            Reason(self.reason),
            self.topic,
            self.name,
            self.detail,
            self.raw,
            self.first_us,
            self.last_us,
            self.count,
        )


class UnknownNameRow(Base):
    """Records under a wire name that nobody has described."""

    __tablename__ = "unknown_name"

    farm: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(primary_key=True)
    topic: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[float]
    unit: Mapped[str | None]
    first_us: Mapped[int]
    last_us: Mapped[int]
    count: Mapped[int]

    def entry(self) -> UnknownName:
        """Return the entry of this row."""
        return UnknownName(self.name, self.topic, self.value, self.unit, self.first_us, self.last_us, self.count)


class ClockFaultRow(Base):
    """One way in which a device's clock was wrong."""

    __tablename__ = "clock_fault"

    farm: Mapped[str] = mapped_column(primary_key=True)
    device: Mapped[str] = mapped_column(primary_key=True)
    fault: Mapped[str] = mapped_column(primary_key=True)
    detail: Mapped[str]
    offset_s: Mapped[float]
    first_us: Mapped[int]
    last_us: Mapped[int]
    readings: Mapped[int]

    def entry(self) -> ClockFault:
        """Return the entry of this row."""
        return ClockFault(
            self.device, self.fault, self.detail, self.offset_s, self.first_us, self.last_us, self.readings
        )


class ExcursionRow(Base):
    """A stretch outside a band."""

    __tablename__ = "excursion"
    __table_args__ = (Index(None, "farm", "onset_us"), Index(None, "farm", "zone", "quantity", "sensor", "onset_us"))

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    zone: Mapped[str]
    quantity: Mapped[str]
    sensor: Mapped[str]
    side: Mapped[str]
    onset_us: Mapped[int]
    end_us: Mapped[int | None]
    last_us: Mapped[int]
    extreme: Mapped[float]
    extreme_us: Mapped[int]
    limit: Mapped[float]
    dose: Mapped[float]
    onset_limit: Mapped[float | None]

    @classmethod
    def of(cls, entry: ExcursionEntry) -> ExcursionRow:
        """Return the row of an entry."""
        return cls(
            **entry.series._asdict(),
            identity=entry.identity,
            side=str(entry.side),
            onset_us=entry.onset_us,
            end_us=entry.end_us,
            last_us=entry.last_us,
            extreme=entry.extreme,
            extreme_us=entry.extreme_us,
            limit=entry.limit,
            dose=entry.dose,
            onset_limit=entry.onset_limit,
        )

    def entry(self) -> ExcursionEntry:
        """Return the entry of this row."""
        return ExcursionEntry(
            Series(self.farm, self.zone, self.quantity, self.sensor),
            Side(self.side),
            self.onset_us,
            self.end_us,
            self.last_us,
            self.extreme,
            self.extreme_us,
            self.limit,
            self.dose,
            self.onset_limit,
        )


class DaySheetRow(Base):
    """The summary of one local day."""

    __tablename__ = "day_sheet"

    farm: Mapped[str] = mapped_column(primary_key=True)
    day: Mapped[date] = mapped_column(primary_key=True)
    computed_us: Mapped[int]
    description_hash: Mapped[str]
    sheet: Mapped[dict[str, Any]]

    @classmethod
    def of(cls, farm: str, entry: DaySheetEntry) -> DaySheetRow:
        """Return the row of an entry."""
        return cls(
            farm=farm,
            day=entry.day,
            computed_us=entry.computed_us,
            description_hash=entry.description_hash,
            sheet=entry.sheet,
        )

    def entry(self) -> DaySheetEntry:
        """Return the entry of this row."""
        return DaySheetEntry(self.day, self.computed_us, self.description_hash, self.sheet)


class StaleDayRow(Base):
    """A local day whose sheet is to be written (again)."""

    __tablename__ = "stale_day"

    farm: Mapped[str] = mapped_column(primary_key=True)
    day: Mapped[date] = mapped_column(primary_key=True)


class DescriptionRow(Base):
    """A farm's description as it once was."""

    __tablename__ = "description"

    farm: Mapped[str] = mapped_column(primary_key=True)
    description_hash: Mapped[str] = mapped_column(primary_key=True)
    text: Mapped[str]
    seen_us: Mapped[int]


class FindingRow(Base):
    """Likely causes of something unusual."""

    __tablename__ = "finding"
    __table_args__ = (Index(None, "farm", "onset_us"),)

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    subject: Mapped[str]
    onset_us: Mapped[int]
    end_us: Mapped[int | None]
    at_us: Mapped[int]
    detail: Mapped[dict[str, Any]]

    @classmethod
    def of(cls, entry: FindingEntry) -> FindingRow:
        """Return the row of an entry."""
        return cls(
            farm=entry.farm,
            identity=entry.identity,
            subject=entry.subject,
            onset_us=entry.onset_us,
            end_us=entry.end_us,
            at_us=entry.at_us,
            detail=entry.detail,
        )

    def entry(self) -> FindingEntry:
        """Return the entry of this row."""
        return FindingEntry(self.farm, self.subject, self.onset_us, self.end_us, self.at_us, self.detail)


class QualityMarkRow(Base):
    """A stretch of one series that a quality test doubts."""

    __tablename__ = "quality_mark"

    farm: Mapped[str] = mapped_column(primary_key=True)
    zone: Mapped[str] = mapped_column(primary_key=True)
    quantity: Mapped[str] = mapped_column(primary_key=True)
    sensor: Mapped[str] = mapped_column(primary_key=True)
    first_us: Mapped[int] = mapped_column(primary_key=True)
    test: Mapped[str] = mapped_column(primary_key=True)
    flag: Mapped[int]
    last_us: Mapped[int]
    readings: Mapped[int]


class LogRow(Base):
    """One version of what a person wrote."""

    __tablename__ = "log_entry"
    __table_args__ = (Index(None, "farm", "at_us"), Index(None, "farm", "kind", "identity", "version"))

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True)
    at_us: Mapped[int]
    author: Mapped[str]
    written_us: Mapped[int]
    withdrawn: Mapped[bool]
    kind: Mapped[str]
    detail: Mapped[dict[str, Any]]

    @classmethod
    def of(cls, farm: str, entry: LogEntry) -> LogRow:
        """Return the row of an entry."""
        return cls(
            farm=farm,
            identity=entry.identity,
            version=entry.version,
            at_us=entry.at_us,
            author=entry.author,
            written_us=entry.written_us,
            withdrawn=entry.withdrawn,
            kind=entry.detail.kind,
            detail=entry.detail.model_dump(mode="json"),
        )

    def entry(self) -> LogEntry:
        """Return the entry of this row."""
        detail = DETAIL.validate_python(self.detail, strict=False)
        return LogEntry(self.identity, self.version, self.at_us, self.author, self.written_us, detail, self.withdrawn)


class BasisRow(Base):
    """With what something was last worked out."""

    __tablename__ = "basis"

    farm: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    series: Mapped[str] = mapped_column(primary_key=True)
    text: Mapped[str]
