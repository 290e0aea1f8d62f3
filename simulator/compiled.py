"""How the physics is compiled: one decorator, so that every part is compiled alike.

Compiled functions stay readable functions of floats, named tuples and arrays. Nothing is reordered
for speed (no fast mathematics), so the same seed gives the same bytes. What was compiled is kept
beside the sources, in a folder named after a digest of all that compiled functions can reach: a change
in one module must compile anew the others that call it, which the compiler's own bookkeeping would miss.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

P = ParamSpec("P")
R = TypeVar("R")

_SOURCES = Path(__file__).parent
_IMPORTED = re.compile(r"^from simulator\.(\w+) import |^from simulator import (.+)$", re.MULTILINE)


def _reached() -> list[Path]:
    """Return the modules with compiled functions, and those that they import from this folder, and so on."""
    texts = {file.stem: file.read_text(encoding="utf-8") for file in sorted(_SOURCES.glob("*.py"))}
    waiting = [name for name, text in texts.items() if "\n@compiled" in text]
    found: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name in texts and name not in found:
            found.add(name)
            waiting += [one for pair in _IMPORTED.findall(texts[name]) for one in re.split(r"\W+", pair[0] or pair[1])]
    return [_SOURCES / f"{name}.py" for name in sorted(found)]


def _digest() -> str:
    """Return a digest of what the compiled code is made of."""
    digest = hashlib.sha256()
    for file in _reached():
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def _folder() -> Path:
    """Return where compiled code is kept: beside the sources, else where temporary files go."""
    beside = _SOURCES / "__pycache__"
    try:
        beside.mkdir(exist_ok=True)
        writable = os.access(beside, os.W_OK)
    except OSError:
        writable = False
    parent = beside if writable else Path(tempfile.gettempdir()) / f"leafweather-compiled-{os.getuid()}"
    return parent / f"compiled-{_digest()}"


setattr(numba.config, "CACHE_DIR", str(_folder()))  # noqa: B010  # made at run time: the type checker sees none


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function of floats, arrays and named tuples of these when it is first called."""
    return cast("Callable[P, R]", numba.njit(cache=True, error_model="numpy")(function))


def inlined(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function into the one that calls it: handing over the whole state would cost more than it does."""
    return cast("Callable[P, R]", numba.njit(inline="always", error_model="numpy")(function))
