"""Files by their hash in the data directory: whole or not there, never changed."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

from django.conf import settings

from inventory.errors import SpanstockError
from jobs.models import StoredFile

# Longer than any upload takes to be committed after its file was placed.
ORPHANED_AFTER = timedelta(days=1)


class FileMissing(SpanstockError):
    """The file of a document is not where it was stored; the operator must bring it back from a copy."""

    code = "file_missing"


def file_directory() -> Path:
    return Path(settings.DATA_DIRECTORY) / "files"


def find_path(sha256: str) -> Path:
    """Where the content of that hash lies; the hash is ours, never a name that somebody sent."""
    return file_directory() / sha256[:2] / sha256


@contextmanager
def placing() -> Iterator[None]:
    """Hold off the sweep from before a file is placed until its row is committed."""
    with _lock(fcntl.LOCK_SH):
        yield


def place_file(data: bytes, sha256: str) -> None:
    """Put the content in its place and make sure that it is on the disk, directory and all."""
    path = find_path(sha256)
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f"{sha256}.{uuid4().hex}")
    with draft.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
    directory = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


def open_file(sha256: str) -> bytes:
    """The content of that hash.

    Raises
    ------
    FileMissing
        If it is not there, though a row says so.
    """
    try:
        return find_path(sha256).read_bytes()
    except OSError:
        raise FileMissing("The file of this document cannot be read. Ask whoever runs the service.") from None


def sweep_orphans(*, now: datetime) -> int:
    """Remove files that no row names and that nobody has placed lately; return how many."""
    removed = 0
    for path in file_directory().glob("*/*"):
        if datetime.fromtimestamp(path.stat().st_mtime, now.tzinfo) > now - ORPHANED_AFTER:
            continue
        with _lock(fcntl.LOCK_EX):
            # Asked behind the lock: whoever has placed the same content meanwhile has committed by now.
            if not StoredFile.objects.filter(sha256=path.name).exists():
                path.unlink(missing_ok=True)
                removed += 1
    return removed


@contextmanager
def _lock(kind: int) -> Iterator[None]:
    file_directory().mkdir(parents=True, exist_ok=True)
    with (file_directory() / "lock").open("w") as file:
        fcntl.flock(file, kind)
        yield
