"""The readings of a data set as a stream of any length, in bounded memory: Arrow or CSV."""

from __future__ import annotations

import io
from collections.abc import Iterator

from handover.export import Export
from handover.tables import CsvFile
from store.contract import DayDamaged


class _Drain(io.RawIOBase):
    """What a writer writes to: hands on what came, and keeps nothing."""

    def __init__(self) -> None:
        super().__init__()
        self._waiting: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        content = bytes(data)  # type: ignore[call-overload]  # bytes, or what has its interface
        self._waiting.append(content)
        return len(content)

    def taken(self) -> bytes:
        content = b"".join(self._waiting)
        self._waiting = []
        return content


def arrow_stream(export: Export) -> Iterator[bytes]:
    """Yield the table as an Arrow IPC stream.

    Raises
    ------
    DayDamaged
        At a day that is damaged: a stream has no place to say what is missing, so it breaks off.
    """
    import pyarrow as pa

    drain = _Drain()
    with pa.ipc.new_stream(pa.PythonFile(drain, "w"), export.schema) as writer:
        for part in export.parts():
            _refuse_damage(export)
            writer.write_batch(part.batch())
            if content := drain.taken():
                yield content
    yield drain.taken()


def csv_stream(export: Export) -> Iterator[bytes]:
    """Yield the table as CSV; breaks off as ``arrow_stream`` does."""
    drain = _Drain()
    writer = CsvFile(drain, export.schema, whole_seconds=export.grid is not None)
    for part in export.parts():
        _refuse_damage(export)
        writer.write(part.batch())
        if content := drain.taken():
            yield content
    writer.finish()
    yield drain.taken()


def _refuse_damage(export: Export) -> None:
    for one in export.source.damages:
        raise DayDamaged(f"{one.series.key}, {one.day}: its readings are kept in a file that is missing or damaged")
