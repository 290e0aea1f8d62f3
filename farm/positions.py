"""On which line of a TOML text each key stands."""

from __future__ import annotations

import tomllib
from typing import TypeAlias

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

Location: TypeAlias = tuple[str | int, ...]  # keys and list indices, as in ("series", 3, "zone")

_KEYS = ("bare_key", "quoted_key", "dotted_key")


def lines_by_location(text: str) -> dict[Location, int]:
    """Return the line, counted from 1, on which each key of a valid TOML text stands.

    A table or list entry stands on the line of its header or opening bracket.
    """
    lines: dict[Location, int] = {}
    arrays: dict[Location, int] = {}  # array of tables -> index of its newest element

    def located(keys: list[str]) -> Location:
        """Return a header's keys as a location: below an array of tables, its newest element."""
        location: Location = ()
        for key in keys:
            location += (key,)
            if location in arrays:
                location += (arrays[location],)
        return location

    def note(location: Location, node: Node) -> None:
        for length in range(1, len(location) + 1):
            lines.setdefault(location[:length], node.start_point[0] + 1)

    def walk_pair(pair: Node, table: Location) -> None:
        key, value = pair.named_children[0], pair.named_children[-1]
        location = table + tuple(_keys(key))
        note(location, pair)
        walk_value(value, location)

    def walk_value(value: Node, location: Location) -> None:
        if value.type == "inline_table":
            for pair in value.named_children:
                if pair.type == "pair":
                    walk_pair(pair, location)
        elif value.type == "array":
            elements = [node for node in value.named_children if node.type != "comment"]
            for index, element in enumerate(elements):
                note((*location, index), element)
                walk_value(element, (*location, index))

    root = Parser(Language(tree_sitter_toml.language())).parse(text.encode()).root_node
    for node in root.named_children:
        table: Location = ()
        if node.type in ("table", "table_array_element"):
            header = next(child for child in node.named_children if child.type in _KEYS)
            keys = _keys(header)
            if node.type == "table_array_element":
                array = (*located(keys[:-1]), keys[-1])
                arrays[array] = arrays.get(array, -1) + 1
            table = located(keys)
            note(table, node)
        for pair in [node] if node.type == "pair" else node.named_children:
            if pair.type == "pair":
                walk_pair(pair, table)
    return lines


def _keys(node: Node) -> list[str]:
    """Return the names in a key: one for a bare or quoted key, several for a dotted one."""
    if node.type == "dotted_key":
        return [name for child in node.named_children for name in _keys(child)]
    text = (node.text or b"").decode()
    return [next(iter(tomllib.loads(f"{text} = 0")))]
