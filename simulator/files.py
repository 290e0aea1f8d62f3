"""Simulated readings as Parquet files, each farm in a folder of its own, and the labels beside them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from farm.flags import Flag
from simulator.cases import Case
from simulator.data_path import Link
from simulator.readings import Readings

READINGS, DESCRIPTION, LABELS = "readings.parquet", "farm.toml", "labels.csv"

SCHEMA = pa.schema(
    [
        pa.field("time", pa.timestamp("us", tz="UTC"), nullable=False),
        pa.field("series", pa.dictionary(pa.int32(), pa.string()), nullable=False),
        pa.field("value", pa.float64(), nullable=False),
        pa.field("flag", pa.uint8(), nullable=False),
    ]
)


def table_of(readings: Readings, metadata: dict[str, str] | None = None) -> pa.Table:
    """Return a block as a table: each series after the other, in ascending time."""
    stamps = (
        readings.stamp_us if readings.stamp_us is not None else np.broadcast_to(readings.time_us, readings.came.shape)
    )
    came = readings.came
    series = np.repeat(np.arange(len(readings.keys), dtype=np.int32), came.sum(axis=1))
    columns = [
        pa.array(stamps[came], pa.timestamp("us", tz="UTC")),
        pa.DictionaryArray.from_arrays(pa.array(series), pa.array(readings.keys, pa.string())),
        pa.array(readings.value[came]),
        pa.array(np.full(len(series), Flag.NOT_EVALUATED, np.uint8)),
    ]
    return pa.Table.from_arrays(columns, schema=SCHEMA.with_metadata(metadata))


def write_farm(
    case: Case, folder: Path, on_progress: Callable[[datetime], None] = lambda _: None, *, with_readings: bool = True
) -> int:
    """Write a farm's description and all its readings; return how many readings.

    The file has a row group a day, in order of arrival: what a cut link held back stands after it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / DESCRIPTION).write_text(case.text, encoding="utf-8")
    if not with_readings:
        return 0
    metadata = {"farm": case.farm.name, "seed": str(case.seed), "simulated": "true: nothing in this file was measured"}
    simulation = case.simulation()
    link = Link(case.farm.name, seed=case.seed, faults=case.faults)
    count = 0
    schema = SCHEMA.with_metadata(metadata)
    with pq.ParquetWriter(folder / READINGS, schema, compression="zstd", write_page_index=True) as writer:
        for block in simulation.until(case.end):
            parts = [table_of(part, metadata) for part in link.passed_on(block)]
            if parts:
                table = pa.concat_tables(parts)
                writer.write_table(table, row_group_size=max(1, len(table)))
                count += len(table)
            on_progress(simulation.now)
    return count
