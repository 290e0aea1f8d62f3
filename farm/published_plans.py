"""Starting bands of crops from published sources, as TOML to be pasted into farm.toml."""

from __future__ import annotations

import difflib
from importlib.resources import files

_FOLDER = files("farm") / "plans"
_ENDING = ".toml"


def published_plans() -> list[str]:
    """Return the names of the crops that have one, in order."""
    return sorted(one.name.removesuffix(_ENDING) for one in _FOLDER.iterdir() if one.name.endswith(_ENDING))


def published_plan(name: str) -> str:
    """Return a crop's block for farm.toml, each value with its source in a comment.

    Raises
    ------
    ValueError
        If there is none for the crop.

    Examples
    --------
    >>> published_plan("basil").splitlines()[1]
    '[crops.basil]'
    """
    names = published_plans()
    if name not in names:
        close = difflib.get_close_matches(name, names, n=1)
        hint = f" Did you mean {close[0]}?" if close else ""
        raise ValueError(f"there is no published plan for the crop {name!r}.{hint} There are: {', '.join(names)}")
    return (_FOLDER / f"{name}{_ENDING}").read_text(encoding="utf-8")
