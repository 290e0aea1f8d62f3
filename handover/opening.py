"""How to open a data set: the part of its README with code that runs as it stands, in its folder."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from farm.quantities import Kind
from handover.asking import Cleaning, Format, Layout
from handover.choosing import Member
from handover.facts import Facts


def opening(facts: Facts) -> Iterator[str]:
    """Yield the lines of the part."""
    example = _example(facts)
    cleaning = facts.choice.asked.cleaning
    yield "## Open it"
    yield ""
    yield f"In the data set's folder, after `pip install {' '.join(_needed(facts.formats))}` where these are not there yet:"
    yield ""
    if Format.PARQUET in facts.formats:
        yield from _python([_parquet(example, cleaning), *_one_series(example, cleaning)])
    if Format.CSV in facts.formats:
        read = 'readings = pandas.read_csv("readings.csv", parse_dates=["time"])'
        yield from _python([read, *_one_series(example, cleaning)])
        yield from _r(example, cleaning)
    if Format.NETCDF in facts.formats:
        yield from _xarray(example, cleaning)


def _needed(formats: Collection[Format]) -> list[str]:
    """Return the packages that the code needs, as PyPI has them."""
    needed = {
        Format.PARQUET: ["pandas", "pyarrow"],
        Format.CSV: ["pandas"],
        Format.NETCDF: ["xarray", "netCDF4"],
    }
    return list(dict.fromkeys(package for one in formats for package in needed[one]))


def _example(facts: Facts) -> Member:
    """Return a series to show: one that most people know, and that has readings."""
    known = [one for one, tally in zip(facts.choice.members, facts.tallies, strict=True) if tally.readings]
    well_known = [one for one in known if one.series.quantity in ("air_temperature", "solution_ec", "ppfd")]
    levels = [one for one in known if one.series.registered.kind is Kind.LEVEL]
    return (well_known or levels or known)[0]


def _python(lines: Sequence[str]) -> Iterator[str]:
    yield "```python"
    yield "import pandas"
    yield ""
    yield from lines
    yield "```"
    yield ""


def _parquet(example: Member, cleaning: Cleaning | None) -> str:
    if _is_wide(cleaning):
        return 'readings = pandas.read_parquet("readings.parquet")'
    one = f'filters=[("series", "==", "{example.series.key}")]'
    return f'readings = pandas.read_parquet("readings.parquet", {one})  # without filters: all of it'


def _one_series(example: Member, cleaning: Cleaning | None) -> Iterator[str]:
    yield 'series = pandas.read_csv("series.csv").set_index("series")'
    if _is_wide(cleaning):
        yield f'one = readings.set_index("time")["{example.column}"]'
    else:
        good = "" if cleaning else ' & readings["flag"].isin([1, 2])'
        yield f'chosen = (readings["series"] == "{example.series.key}"){good}'
        yield 'one = readings[chosen].set_index("time")["value"]'
    yield f'print(one.describe(), series.loc["{example.series.key}", "unit"])'


def _r(example: Member, cleaning: Cleaning | None) -> Iterator[str]:
    yield "```r"
    yield 'readings <- read.csv("readings.csv")'
    yield 'readings$time <- as.POSIXct(readings$time, format = "%Y-%m-%dT%H:%M:%OSZ", tz = "UTC")'
    if _is_wide(cleaning):
        yield f"summary(readings${example.column})"
    else:
        yield f'summary(readings$value[readings$series == "{example.series.key}"])'
    yield "```"
    yield ""


def _xarray(example: Member, cleaning: Cleaning | None) -> Iterator[str]:
    yield "```python"
    yield "import xarray"
    yield ""
    yield 'data = xarray.open_dataset("readings.nc")'
    yield f'one = data["{example.column}"]'
    if cleaning is None:
        yield f'one = one.where(data["{example.column}_flag"].isin([1, 2]))'
    yield 'print(one.attrs["long_name"], float(one.mean()), one.attrs["units"])'
    yield "```"
    yield ""
    yield (
        "The NetCDF file follows the CF conventions. A variable is named by the `column` of `series.csv`; its `series` "
        "attribute holds the key, and `ancillary_variables` names its flags."
        + (
            f" Each series has a time of its own: to put several side by side, rename it, as in "
            f'`one.rename({example.column}_time="time")`. A series without readings has no variable.'
            if cleaning is None
            else ""
        )
    )
    yield ""


def _is_wide(cleaning: Cleaning | None) -> bool:
    return cleaning is not None and cleaning.layout is Layout.WIDE
