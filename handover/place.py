"""The place of a data set: a folder that is whole or not there at all."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pyarrow as pa

from handover.refusals import NotWritten, Refused
from store.durable import synced_file, synced_folder

CHECKSUMS, DESCRIPTOR = "SHA256SUMS", "datapackage.json"
UNFINISHED = ".unfinished"
LITTLE_ROOM = 1 << 20


@contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """Hold a folder beside the target; if it is not put in place, nothing of it stays."""
    folder: Path | None = None
    try:
        folder = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=UNFINISHED, dir=target.absolute().parent))
        yield folder
    except (OSError, pa.ArrowException) as error:
        raise NotWritten(why_not(target, error)) from error
    except NotWritten as error:
        full = OSError(errno.ENOSPC, "") if _is_full(target) else error
        raise NotWritten(why_not(target, full)) from error
    finally:
        if folder is not None:
            _remove(folder)


def _is_full(target: Path) -> bool:
    """Whether there is no room; the library that writes NetCDF does not tell that from other faults."""
    return shutil.disk_usage(target.absolute().parent).free < LITTLE_ROOM


def _remove(folder: Path) -> None:
    """Remove a folder, and free its room even where a library still holds a file open after a fault."""
    if folder.is_dir():
        for file in folder.iterdir():
            with suppress(OSError):
                os.truncate(file, 0)
    shutil.rmtree(folder, ignore_errors=True)


_LEFT = "Nothing that looks whole was left behind"


def why_not(target: Path, error: Exception) -> str:
    """Return in a sentence why a file or folder cannot be written, and how to mend it."""
    number = error.errno if isinstance(error, OSError) else None
    if number in (errno.ENOSPC, errno.EDQUOT):
        return f"{target}: the disk is full: free some space, or name a folder on another disk. {_LEFT}."
    if number in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{target}: it may not be written ({os.strerror(number)}): name a folder where this user may write."
    if number in (errno.ENOENT, errno.ENOTDIR):
        return f"{target}: there is no folder {target.absolute().parent}: make it, or name another one."
    return f"{target}: it cannot be written ({error}). {_LEFT}."


def refuse_what_is_there(target: Path, *, overwrite: bool) -> None:
    """Raise Refused where a folder is there already, unless it is a data set that may be replaced."""
    if not target.name:
        raise Refused(f"{target} names no new folder: name one that is not there yet.")
    if not target.is_symlink() and not target.exists():
        return
    if not overwrite:
        raise Refused(f"{target} is there already: name another folder, or ask to overwrite the data set in it.")
    if not _is_data_set(target):
        raise Refused(
            f"{target} holds other things than a data set, so it is not overwritten: name another folder, or remove "
            "it yourself."
        )


def _is_data_set(folder: Path) -> bool:
    """Whether a folder holds a data set's own files and nothing else."""
    if folder.is_symlink() or not folder.is_dir():
        return False
    try:
        names = {line.split("  ", 1)[1] for line in (folder / CHECKSUMS).read_text(encoding="utf-8").splitlines()}
    except (OSError, ValueError, IndexError):
        return False
    return {one.name for one in folder.iterdir()} <= {*names, CHECKSUMS} and DESCRIPTOR in names


def put_in_place(folder: Path, target: Path, *, overwrite: bool) -> None:
    """Give a whole data set its name, durably."""
    for file in folder.iterdir():
        synced_file(file)
    synced_folder(folder)
    mask = os.umask(0)
    os.umask(mask)
    folder.chmod(0o777 & ~mask)
    refuse_what_is_there(target, overwrite=overwrite)  # it may have come meanwhile
    if target.exists():
        former = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=UNFINISHED, dir=target.absolute().parent))
        target.rename(former / "former")
        try:
            folder.rename(target)
        except OSError:
            (former / "former").rename(target)
            raise
        finally:
            shutil.rmtree(former, ignore_errors=True)
    else:
        folder.rename(target)
    synced_folder(target.absolute().parent)
