"""What can go wrong with a file at rest, told so that it can be mended."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from store.contract import StoreUnavailable, StoreUnusable

_PRIMARY_CODE = 0xFF  # SQLite keeps the kind of error in the low byte

# Kind of error -> what to do about it. These may pass.
_PASSING = {
    sqlite3.SQLITE_FULL: "the disk is full: free some space on it",
    sqlite3.SQLITE_IOERR: "the disk reports an error: check its free space, quota and health",
    sqlite3.SQLITE_BUSY: "another program holds it: end that program or wait",
    sqlite3.SQLITE_LOCKED: "another program holds it: end that program or wait",
    sqlite3.SQLITE_READONLY: "it cannot be written: give this user the right to, or mount the disk writable",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened: check that its folder exists and that this user may write there",
    sqlite3.SQLITE_PERM: "access is denied: give this user the right to read and write it",
}

# Kind of error -> what to do about it. These stay until somebody acts.
_LASTING = {
    sqlite3.SQLITE_CORRUPT: "it is damaged: keep it, and put back the last backup",
    sqlite3.SQLITE_NOTADB: "it is not a database: move it elsewhere, or name another folder",
}

# The same for plain files, by the number of the disk's error.
_DISK = {
    errno.ENOSPC: _PASSING[sqlite3.SQLITE_FULL],
    errno.EDQUOT: _PASSING[sqlite3.SQLITE_FULL],
    errno.EFBIG: _PASSING[sqlite3.SQLITE_IOERR],
    errno.EIO: _PASSING[sqlite3.SQLITE_IOERR],
    errno.EROFS: _PASSING[sqlite3.SQLITE_READONLY],
    errno.EACCES: _PASSING[sqlite3.SQLITE_PERM],
    errno.EPERM: _PASSING[sqlite3.SQLITE_PERM],
}


def sqlite_fault(path: Path | str, error: BaseException) -> StoreUnavailable | StoreUnusable:
    """Return the exception that tells what an SQLite error on a file means and how to mend it."""
    code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY_CODE
    if code in _LASTING:
        return StoreUnusable(f"{path}: {_LASTING[code]} ({error})")
    remedy = _PASSING.get(code, "it cannot be used now: try again")
    return StoreUnavailable(f"{path}: {remedy} ({error})")


def file_fault(path: Path, error: OSError) -> StoreUnavailable:
    """Return the exception that tells what an error of the disk on a plain file means and how to mend it."""
    remedy = _DISK.get(error.errno or 0, "it cannot be used now: check the disk and try again")
    return StoreUnavailable(f"{path}: {remedy} ({error})")
