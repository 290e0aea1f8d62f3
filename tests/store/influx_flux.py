"""The few Flux shapes that the engine sends, read strictly and carried out over points in memory.

Sources: Flux documentation, "Lexical elements" (strings, times, durations) and the pages of `range`,
`filter`, `limit`, `keep`, `group`, `sort`, `first`, `last`, `window`, `aggregateWindow` and `yield`. Whatever else
Flux knows is refused, so that a query which is not one of these shapes shows as an error.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

from farm.readings import instant

TOKEN = re.compile(
    r"""\s*(?:(?P<time>\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:\.\d+)?Z)|(?P<duration>\d+us)|(?P<number>\d+)
    |(?P<word>[A-Za-z_]\w*)|(?P<string>"(?:[^"\\]|\\.)*")|(?P<sign>\|>|=>|==|!=|[()\[\]:,]))""",
    re.VERBOSE | re.DOTALL,
)
ESCAPES = {"n": "\n", "r": "\r", "t": "\t", '"': '"', "\\": "\\"}
AGGREGATES = {"count": len, "sum": math.fsum, "min": min, "max": max}


class BadFlux(Exception):
    """A query that is not one of the shapes known here."""


def string(literal: str) -> str:
    out, place, body = [], 0, literal[1:-1]
    while place < len(body):
        if body.startswith("${", place):
            raise BadFlux(f"an expression inside a string would be evaluated: {literal}")
        if body.startswith("\\${", place):
            out.append("${")
            place += 3
        elif body[place] == "\\":
            if body[place + 1] not in ESCAPES:
                raise BadFlux(f"unknown escape in {literal}")
            out.append(ESCAPES[body[place + 1]])
            place += 2
        else:
            out.append(body[place])
            place += 1
    return "".join(out)


def nanoseconds(literal: str) -> int:
    from datetime import datetime

    whole, _, fraction = literal[:-1].partition(".")
    seconds = (datetime.fromisoformat(whole + "+00:00") - instant(0)) // (instant(1_000_000) - instant(0))
    return seconds * 1_000_000_000 + int(fraction.ljust(9, "0")[:9] or 0)


class Parser:
    def __init__(self, text: str) -> None:
        self.tokens = []
        place = 0
        text = text.rstrip()
        while place < len(text):
            match = TOKEN.match(text, place)
            if match is None:
                raise BadFlux(f"cannot be read from here: {text[place : place + 40]!r}")
            self.tokens.append((match.lastgroup, match[match.lastgroup]))
            place = match.end()
        self.place = 0
        self.asked = set()  # the columns that a condition reads

    def peek(self) -> tuple[str, str] | tuple[None, None]:
        return self.tokens[self.place] if self.place < len(self.tokens) else (None, None)

    def take(self, *wanted: str) -> str:
        kind, word = self.peek()
        if kind not in wanted and word not in wanted:
            raise BadFlux(f"{' or '.join(wanted)} expected, found {word!r}")
        self.place += 1
        return word

    def queries(self) -> list[list[tuple[str, dict]]]:
        """Return pipelines as lists of (function, arguments)."""
        queries = []
        while self.peek()[0]:
            if self.peek()[1] != "from":
                raise BadFlux(f"a query begins with from, found {self.peek()[1]!r}")
            steps = [self.call()]
            while self.peek()[1] == "|>":
                self.take("|>")
                steps.append(self.call())
            queries.append(steps)
        return queries

    def call(self) -> tuple[str, dict]:
        function, arguments = self.take("word"), {}
        self.take("(")
        while self.peek()[1] != ")":
            name = self.take("word")
            self.take(":")
            arguments[name] = self.argument(name)
            if self.peek()[1] != ")":
                self.take(",")
        self.take(")")
        return function, arguments

    def argument(self, name: str) -> object:
        kind, word = self.peek()
        if kind == "string":
            return string(self.take("string"))
        if kind == "time":
            return nanoseconds(self.take("time"))
        if kind == "duration":
            return int(self.take("duration")[:-2]) * 1000
        if kind == "number":
            return int(self.take("number"))
        if kind == "word":
            return self.take("word")
        if word == "[":
            self.take("[")
            values = [string(self.take("string"))]
            while self.peek()[1] == ",":
                self.take(",")
                values.append(string(self.take("string")))
            self.take("]")
            return values
        if name == "fn":
            for one in ("(", "r", ")", "=>"):
                self.take(one)
            self.asked = set()
            return self.condition(), self.asked
        raise BadFlux(f"{word!r} is no argument of {name}")

    def condition(self):
        parts = [self.conjunction()]
        while self.peek()[1] == "or":
            self.take("or")
            parts.append(self.conjunction())
        return lambda row: any(part(row) for part in parts)

    def conjunction(self):
        parts = [self.comparison()]
        while self.peek()[1] == "and":
            self.take("and")
            parts.append(self.comparison())
        return lambda row: all(part(row) for part in parts)

    def comparison(self):
        if self.peek()[1] == "(":
            self.take("(")
            inner = self.condition()
            self.take(")")
            return inner
        self.take("r")
        self.take("[")
        column = string(self.take("string"))
        self.take("]")
        sign, value = self.take("==", "!="), string(self.take("string"))
        self.asked.add(column)
        # A comparison with a column that is missing is null, and null does not pass a filter.
        return lambda row: row.get(column) is not None and (row[column] == value) == (sign == "==")


class Tables:
    """Tables by group key: a tuple of (column, value); rows are dictionaries."""

    def __init__(self, tables: dict[tuple, list[dict]]) -> None:
        self.tables = {key: rows for key, rows in tables.items() if rows}


def run(text: str, bucket: str, points: dict) -> list[tuple[str, Tables]]:
    """Return the named results of a script over points: (measurement, tags, field) -> {time_ns: value}."""
    results = []
    for number, (source, *steps) in enumerate(Parser(text).queries()):
        if source != ("from", {"bucket": bucket}):
            raise LookupError(f'could not find bucket "{source[1].get("bucket")}"')
        if not steps or steps[0][0] != "range":
            raise BadFlux("cannot submit unbounded read")
        bounds = steps[0][1]
        tables = Tables(scanned(points, bounds["start"], bounds["stop"]))
        name = "_result"
        for function, arguments in steps[1:]:
            if function == "yield":
                name = arguments["name"]
            else:
                tables = STEPS[function](tables, **arguments)
        if number and name == "_result":
            raise BadFlux('two results are named "_result"')
        results.append((name, tables))
    if len({name for name, _ in results}) != len(results):
        raise BadFlux("two results have one name")
    return results


def scanned(points: dict, start: int, stop: int) -> dict[tuple, list[dict]]:
    if stop < start:
        raise BadFlux("cannot query an empty range")
    tables = {}
    for (measurement, tags, field), values in points.items():
        key = (("_start", start), ("_stop", stop), ("_field", field), ("_measurement", measurement), *tags)
        tables[key] = [
            {**dict(key), "_time": time, "_value": value}
            for time, value in sorted(one for one in values.items() if start <= one[0] < stop)
        ]
    return tables


def filter_rows(tables: Tables, fn) -> Tables:
    test, asked = fn
    out = {}
    for key, rows in tables.tables.items():
        if asked <= dict(key).keys():  # the same for every row
            out[key] = rows if test(dict(key)) else []
        else:
            out[key] = [row for row in rows if test(row)]
    return Tables(out)


def limit(tables: Tables, n: int) -> Tables:
    return Tables({key: rows[:n] for key, rows in tables.tables.items()})


def keep(tables: Tables, columns: list[str]) -> Tables:
    kept = {}
    for key, rows in tables.tables.items():
        of = tuple(pair for pair in key if pair[0] in columns)
        kept.setdefault(of, []).extend({name: row[name] for name in columns if name in row} for row in rows)
    return Tables(kept)


def group(tables: Tables) -> Tables:
    return Tables({(): [row for rows in tables.tables.values() for row in rows]})


def sort(tables: Tables, columns: list[str]) -> Tables:
    return Tables(
        {key: sorted(rows, key=lambda row: [row[one] for one in columns]) for key, rows in tables.tables.items()}
    )


def first(tables: Tables) -> Tables:
    return Tables({key: rows[:1] for key, rows in tables.tables.items()})


def last(tables: Tables) -> Tables:
    return Tables({key: rows[-1:] for key, rows in tables.tables.items()})


def window(tables: Tables, every: int) -> Tables:
    """Return a table for each window, the latest first: Flux promises no order of tables."""
    if every <= 0:
        raise BadFlux("window: every must be above 0")
    out = {}
    for key, rows in tables.tables.items():
        for row in reversed(rows):
            start = window_start(row, every)
            bounds = {"_start": start, "_stop": start + every}
            out.setdefault(tuple((dict(key) | bounds).items()), []).insert(0, row | bounds)
    return Tables(out)


def window_start(row: dict, every: int) -> int:
    if row["_time"] < 0:
        raise BadFlux("times before 1970 must not be windowed by Flux: influxdata/flux, issue 2856")
    return row["_time"] // every * every


def aggregate_window(tables: Tables, every: int, fn: str, createEmpty: str, timeSrc: str) -> Tables:
    if (createEmpty, timeSrc) != ("false", "_start") or fn not in AGGREGATES or every <= 0:
        raise BadFlux("aggregateWindow: not the shape known here")
    out = {}
    for key, rows in tables.tables.items():
        of, windows = dict(key), {}
        for row in rows:
            windows.setdefault(window_start(row, every), []).append(row["_value"])
        out[key] = [
            {**of, "_time": max(start, of["_start"]), "_value": AGGREGATES[fn](values)}
            for start, values in windows.items()
        ]
    return Tables(out)


STEPS = {
    "filter": filter_rows, "limit": limit, "keep": keep, "group": group, "sort": sort, "first": first, "last": last,
    "window": window, "aggregateWindow": aggregate_window,
}  # fmt: skip


def annotated_csv(results: list[tuple[str, Tables]]) -> str:
    """Return results as annotated CSV: documentation page "Annotated CSV"."""
    out, number, before = [], 0, None
    for name, tables in results:
        for key, rows in tables.tables.items():
            columns = sorted({column for row in rows for column in row})
            types = [datatype(column, next(row[column] for row in rows if column in row)) for column in columns]
            grouped = ["true" if column in dict(key) else "false" for column in columns]
            if (name, columns, types, grouped) != before:
                before = (name, columns, types, grouped)
                out += [
                    *([""] if out else []),
                    ",".join(["#datatype", "string", "long", *types]),
                    ",".join(["#group", "false", "false", *grouped]),
                    ",".join(["#default", quoted(name), "", *[""] * len(columns)]),
                    ",".join(["", "result", "table", *columns]),
                ]
            out += [
                ",".join(["", "", str(number), *(cell(column, row.get(column)) for column in columns)]) for row in rows
            ]
            number += 1
    return "\r\n".join([*out, ""]) + "\r\n"


def datatype(column: str, value: object) -> str:
    if column in ("_time", "_start", "_stop"):
        return "dateTime:RFC3339"
    return {bool: "boolean", int: "long", float: "double", str: "string"}[type(value)]


def cell(column: str, value: object) -> str:
    if value is None:
        return ""
    if column in ("_time", "_start", "_stop"):
        seconds, rest = divmod(value, 1_000_000_000)
        fraction = f".{rest:09d}".rstrip("0").rstrip(".")
        return f"{instant(seconds * 1_000_000):%Y-%m-%dT%H:%M:%S}{fraction}Z"
    if isinstance(value, float):
        if math.isinf(value):
            return "+Inf" if value > 0 else "-Inf"
        return format(Decimal(repr(value)), "f").removesuffix(".0")  # as Go writes it: shortest digits, no exponent
    return quoted(str(value))


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if re.search(r'[",\r\n]', text) else text
