"""The machine-readable description of a data set: ``datapackage.json``, a Frictionless Data Package."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from farm.flags import Flag
from handover.facts import Facts, File
from handover.fields import SERIES, Field
from handover.tables import MISSING_TEXT

KEYS = {"series.csv": ["series"], "dictionary.csv": ["file", "column"]}


def datapackage(facts: Facts, files: Sequence[File], identity: str) -> str:
    """Return the text of ``datapackage.json``."""
    package: dict[str, Any] = {
        "profile": "data-package",
        "name": f"{facts.farm.name}-readings",
        "id": f"sha256:{identity}",
        "title": facts.title,
        "description": "Readings of one indoor farm. README.md says what each file holds and by which rules.",
        "version": facts.made_by.version,
    }
    if facts.imprint.licence:
        path = f"https://spdx.org/licenses/{facts.imprint.licence}.html"
        package["licenses"] = [{"name": facts.imprint.licence, "path": path}]
    if facts.imprint.creator:
        package["contributors"] = [{"title": facts.imprint.creator, "role": "author"}]
    package["sources"] = [{"title": f"{facts.farm.farm.title}, as described by {facts.made_by.description_sha256}"}]
    package["resources"] = [_resource(one) for one in files]
    evidence = facts.evidence
    package["leafweather"] = {
        "software_version": facts.made_by.version,
        "description_sha256": facts.made_by.description_sha256,
        "invented": facts.farm.farm.invented,
        "citation": facts.citation(identity),
        "query": facts.query,
        "evidence": None
        if evidence is None
        else {
            "entry": evidence.entry,
            "head": evidence.head,
            "days_sealed": evidence.days,
            "days": evidence.asked,
            "broken": evidence.broken,
        },
        "without_readings": [one.series.key for one in facts.silent],
        "without_values": [one.series.key for one in facts.valueless],
        "damaged": [{"series": one.series.key, "day": one.day} for one in facts.damages],
    }
    return json.dumps(package, indent=2, ensure_ascii=False) + "\n"


def _resource(file: File) -> dict[str, Any]:
    stem, _, ending = file.name.rpartition(".")
    resource: dict[str, Any] = {
        "name": stem if stem != "readings" else f"readings-{ending}",
        "path": file.name,
        "title": file.title,
        "format": ending,
        "mediatype": file.media_type,
        "bytes": file.size,
        "hash": f"sha256:{file.sha256}",
    }
    if file.is_csv:
        resource |= {"profile": "tabular-data-resource", "encoding": "utf-8"}
        resource["dialect"] = {"lineTerminator": "\r\n", "delimiter": ",", "quoteChar": '"', "doubleQuote": True}
        resource["schema"] = _schema(file)
    else:
        resource["profile"] = "data-resource"
        resource["type"] = "file"
    return resource


def _schema(file: File) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": [_field(one) for one in file.fields], "missingValues": [MISSING_TEXT]}
    if file.name in KEYS:
        schema["primaryKey"] = KEYS[file.name]
    elif SERIES in file.fields:
        schema["foreignKeys"] = [{"fields": "series", "reference": {"resource": "series", "fields": "series"}}]
    return schema


def _field(field: Field) -> dict[str, Any]:
    described: dict[str, Any] = {"name": field.name, "type": field.type, "description": field.description}
    constraints: dict[str, Any] = {"required": True} if field.required else {}
    if field.name.endswith("flag"):
        constraints["enum"] = [int(flag) for flag in Flag]
    if constraints:
        described["constraints"] = constraints
    more = {"unit": field.unit, "unit_ucum": field.ucum, "cf_standard_name": field.cf_name, "series": field.series}
    return described | {name: text for name, text in more.items() if text}
