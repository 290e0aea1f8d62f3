"""Reads ``farm.toml`` and explains every mistake in it: line, key, what was found, what is allowed."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from farm.cross_references import loose_ends
from farm.description import Farm
from farm.positions import Location, lines_by_location
from farm.references import LooseEnd, one_of

Document = TypeVar("Document", bound=BaseModel)

LONGEST_FOUND = 60  # characters of a wrong value that a message repeats


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing to mend in a description."""

    line: int | None
    key: str
    found: str
    allowed: str

    def __str__(self) -> str:
        where = f"line {self.line}" if self.line else "whole file"
        return f"{where}: {self.key}: found {self.found}; allowed: {self.allowed}"


class DescriptionError(Exception):
    """A farm's description that cannot be used; ``mistakes`` lists all that was found."""

    def __init__(self, path: Path, mistakes: list[Mistake]) -> None:
        self.path = path
        self.mistakes = mistakes
        super().__init__("\n".join(f"{path}: {mistake}" for mistake in mistakes))


@dataclass(frozen=True, slots=True)
class Description:
    """A farm as read from a file, with the file's text and its SHA-256 (as ``sha256sum`` prints it)."""

    farm: Farm
    text: str
    sha256: str


def read_description(path: Path) -> Description:
    """Return the farm that a file describes.

    Raises
    ------
    DescriptionError
        If the file cannot be read or has mistakes; all of them are listed, with their lines.
    """
    text = text_of(path, "a farm.toml")
    farm, mistakes = check_text(text)
    if farm is None:
        raise DescriptionError(path, mistakes)
    return Description(farm, text, hashlib.sha256(text.encode()).hexdigest())


def text_of(path: Path, wanted: str) -> str:
    """Return a file's text; ``wanted`` says what it should be.

    Raises
    ------
    DescriptionError
        If the file cannot be read, or is no UTF-8 text.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise DescriptionError(
            path, [Mistake(None, "file", f"no readable file ({error.strerror})", f"{wanted}; check the path")]
        ) from error
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise DescriptionError(
            path, [Mistake(line, "file", f"byte {content[error.start]:#04x}", "UTF-8 text; save the file as UTF-8")]
        ) from error


def check_text(text: str) -> tuple[Farm | None, list[Mistake]]:
    """Return the farm that a TOML text describes, or None and every mistake in it, by line."""
    return read_as(Farm, text, loose_ends)


def read_as(
    model: type[Document], text: str, more: Callable[[dict[str, Any]], Iterable[LooseEnd]] = lambda _: ()
) -> tuple[Document | None, list[Mistake]]:
    """Return what a TOML text describes, or None and every mistake in it, by line.

    ``more`` finds mistakes in the raw document that the model cannot see, as (location, found, allowed).
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_syntax_mistake(str(error))]
    lines = lines_by_location(text)
    found: dict[Location, tuple[str, list[str]]] = {}
    whole = None
    try:
        whole = model.model_validate(raw)
    except ValidationError as error:
        for one in error.errors(include_url=False):
            location = _in_document(raw, one["loc"])
            what, allowed = _explained(model, raw, location, dict(one))
            known = found.setdefault(location, (what, []))
            if allowed not in known[1]:
                known[1].append(allowed)
    for location, what, allowed in more(raw):
        found.setdefault(location, (what, [allowed]))
    mistakes = [
        Mistake(_line(lines, location), _dotted(location), what, " or ".join(allowed))
        for location, (what, allowed) in found.items()
    ]
    mistakes.sort(key=lambda mistake: (mistake.line or 0, mistake.key))
    return (None if mistakes else whole), mistakes


def _syntax_mistake(message: str) -> Mistake:
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = message.split(" (at ")[0]
    key = f"column {at[2]}" if at else "end of file"
    return Mistake(int(at[1]) if at else None, key, f"no valid TOML: {what}", "TOML 1.0 syntax")


def _in_document(raw: Any, loc: Iterable[str | int]) -> Location:  # noqa: ANN401  # any TOML value
    """Return the part of a validator's location that names places in the document itself."""
    location: list[str | int] = []
    here = raw
    for step in loc:
        if isinstance(here, dict) and isinstance(step, str):
            location.append(step)
            if step not in here:
                return tuple(location) if _is_key(step) else tuple(location[:-1])
            here = here[step]
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            location.append(step)
            here = here[step]
        else:
            break
    return tuple(location)


def _is_key(step: str) -> bool:
    return re.fullmatch(r"[A-Za-z0-9_]+", step) is not None


def _value(raw: Any, location: Location) -> Any:  # noqa: ANN401
    for step in location:
        raw = raw[step]
    return raw


def _explained(
    model: type[BaseModel],
    raw: Any,  # noqa: ANN401
    location: Location,
    error: dict[str, Any],
) -> tuple[str, str]:
    """Return what was found and what is allowed, in words."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "missing":
        return "nothing", f"this key is needed ({_description_of(model, location) or 'see the schema'})"
    if kind == "extra_forbidden":
        return "a key that is not known here", one_of(str(location[-1]), _keys_allowed(model, location[:-1]))
    found = _shown(_value(raw, location))
    if kind == "literal_error":
        return found, one_of(str(error["input"]), _quoted(context["expected"]))
    if kind == "enum":
        return found, one_of(str(error["input"]), _quoted(context["expected"]))
    if kind.startswith(("date_", "datetime_")):
        return found, "a date such as 2026-03-01, or a date and time"
    if kind == "string_pattern_mismatch":
        return found, "lower-case letters and digits, joined by single '_' or '-'"
    if kind == "value_error":
        return found, str(context["error"])
    message = str(error["msg"]).removeprefix("Input should be ")
    return found, message[0].lower() + message[1:]


def _quoted(text: str) -> list[str]:
    return re.findall(r"'([^']*)'", text)


def _shown(value: Any) -> str:  # noqa: ANN401
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    return text if len(text) <= LONGEST_FOUND else text[: LONGEST_FOUND - 1] + "…"


def _schema_at(model: type[BaseModel], location: Location) -> dict[str, Any]:
    """Return the JSON Schema that holds at a place in the document; empty where there is none."""
    whole = model.model_json_schema()

    def resolved(schema: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in schema or "anyOf" in schema:
            reference = schema.get("$ref")
            schema = whole["$defs"][reference.rsplit("/", 1)[1]] if reference else schema["anyOf"][0]
        return schema

    here = whole
    for step in location:
        here = resolved(here)
        if isinstance(step, int):
            here = here.get("items", {})
        else:
            named = here.get("properties", {}).get(step)
            by_pattern = next(iter(here.get("patternProperties", {}).values()), None)
            here = named or by_pattern or here.get("additionalProperties") or {}
            if not isinstance(here, dict):
                return {}
    return here if "description" in here else resolved(here)


def _keys_allowed(model: type[BaseModel], location: Location) -> list[str]:
    return list(_schema_at(model, location).get("properties", {}))


def _description_of(model: type[BaseModel], location: Location) -> str:
    return str(_schema_at(model, location).get("description", ""))


def _line(lines: dict[Location, int], location: Location) -> int | None:
    for length in range(len(location), 0, -1):
        if location[:length] in lines:
            return lines[location[:length]]
    return None


def _dotted(location: Location) -> str:
    text = ""
    for step in location:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text or "file"
