"""A backup: one file that holds the book, what was attached to it, and the proof that it is whole.

A tar file, so that any machine can look into it: the copy of the database, the files that documents name by
their hash, the secret key where this installation made its own, and last `manifest.json`, which says how far
the book goes and what the copy's hash is. A file without a manifest is one whose writing was broken off.
"""

import hashlib
import json
import os
import tarfile
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from uuid import UUID, uuid4

from django.conf import settings
from django.db import connection

from api.config.environment import full_name
from api.deploy.databases import NAMES, Head, copy_database, require_empty, restore_database
from api.deploy.errors import BackupRefused, RestoreRefused
from inventory.models import DomainEvent
from inventory.services.sealing import record_event
from jobs.services.attaching.storing import file_directory, placing

FORM = "spanstock backup 1"
MANIFEST = "manifest.json"
SECRET_KEY = "secret_key"
# What a device or another system compares: after another restoring it sends again what it still has.
RESTORED = "book_restored"

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Backup:
    """What a backup says of itself."""

    id: UUID
    made_at: datetime
    vendor: str
    database_sha256: str
    head: Head
    files: int


def make_backup(*, target: Path, made_at: datetime, progress: Progress = lambda *_: None) -> Backup:
    """Copy the book and its files into one new file, while others go on posting.

    The database is copied first: what it names was stored before, so every file that it needs is there to be
    copied after it.

    Raises
    ------
    BackupRefused
        If the file is there already or cannot be written, or the database cannot be copied; nothing is left.
    """
    if target.exists():
        raise BackupRefused(f"{target} is there already; a backup is never written over another.")
    draft = target.with_name(f"{target.name}.{uuid4().hex[:8]}.part")
    try:
        with placing(), tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as folder:
            copy = Path(folder) / NAMES[connection.vendor]
            progress("Copying the database", 0, 1)
            head = copy_database(copy)
            progress("Copying the database", 1, 1)
            backup = _write(draft, copy, head, made_at, progress)
        draft.rename(target)
    except OSError as fault:
        raise BackupRefused(f"The backup could not be written: {fault.strerror or fault}.") from fault
    finally:
        draft.unlink(missing_ok=True)
    _sync(target.parent)
    return backup


def read_backup(path: Path) -> Backup:
    """What a backup says of itself, without looking whether it is true.

    Raises
    ------
    RestoreRefused
        If it is no whole backup.
    """
    try:
        with tarfile.open(path) as archive:
            file = archive.extractfile(MANIFEST)
            assert file is not None
            told = json.load(file)
    except FileNotFoundError:
        raise RestoreRefused(f"There is no file {path}.") from None
    except (tarfile.TarError, KeyError, ValueError, OSError) as fault:
        raise RestoreRefused(f"{path} is no whole backup: its {MANIFEST} cannot be read.") from fault
    if told.get("form") != FORM:
        raise RestoreRefused(f"{path} has the form {told.get('form')!r}; this version reads {FORM!r}.")
    return Backup(
        id=UUID(told["id"]),
        made_at=datetime.fromisoformat(told["made_at"]),
        vendor=told["database"],
        database_sha256=told["database_sha256"],
        head=Head(**told["head"]),
        files=told["files"],
    )


def restore_backup(*, source: Path, progress: Progress = lambda *_: None) -> Backup:
    """Make database and files from a backup, where there are none; all is looked at before any is placed.

    Raises
    ------
    RestoreRefused
        If the backup is not whole, is of another kind of database, or something is there already.
    """
    backup = read_backup(source)
    if backup.vendor != connection.vendor:
        raise RestoreRefused(
            f"The backup is of {backup.vendor} and {full_name('DATABASE_URL')} names {connection.vendor}."
        )
    require_empty()
    data = Path(settings.DATA_DIRECTORY)
    with tempfile.TemporaryDirectory(dir=data, prefix=".restore-") as folder:
        unpacked = Path(folder)
        _unpack(source, backup, unpacked, progress)
        for file in unpacked.glob("files/*/*"):
            place = file_directory() / file.parent.name / file.name
            place.parent.mkdir(parents=True, exist_ok=True)
            file.replace(place)
        progress("Filling the database", 0, 1)
        restore_database(unpacked / NAMES[backup.vendor])
        progress("Filling the database", 1, 1)
        kept_key = unpacked / SECRET_KEY
        if kept_key.exists():
            # Last: sessions and sealed secrets of the lost machine go on.
            kept_key.chmod(0o600)
            kept_key.replace(data / SECRET_KEY)
    return backup


def tell_restored(*, occurred_at: datetime, backup: Backup | None) -> UUID:
    """Note in the chain that the book was brought back: whoever sent something since then sends it again."""
    body: dict[str, object] = {"backup": None, "made_at": None}
    if backup is not None:
        body = {"backup": str(backup.id), "made_at": backup.made_at.isoformat()}
    return record_event(id=uuid4(), kind=RESTORED, occurred_at=occurred_at, body=body).uuid


def find_last_restoring() -> str:
    """Names the last time the book was brought back from a copy; empty where it never was."""
    events = DomainEvent.objects.filter(kind=RESTORED).order_by("-pk")
    return str(events.values_list("uuid", flat=True).first() or "")


def _write(draft: Path, copy: Path, head: Head, made_at: datetime, progress: Progress) -> Backup:
    files = sorted(path for path in file_directory().glob("*/*") if _is_stored(path))
    backup = Backup(uuid4(), made_at, connection.vendor, _digest(copy), head, len(files))
    # Whoever reads it reads the whole book and the key that signs sessions.
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as stream:
        with tarfile.open(fileobj=stream, mode="w") as archive:
            archive.add(copy, copy.name)
            for done, path in enumerate(files, 1):
                archive.add(path, f"files/{path.parent.name}/{path.name}")
                progress("Copying files", done, len(files))
            key = Path(settings.DATA_DIRECTORY) / SECRET_KEY
            if key.exists():
                archive.add(key, SECRET_KEY)
            _add_manifest(archive, backup)
        stream.flush()
        os.fsync(stream.fileno())
    return backup


def _add_manifest(archive: tarfile.TarFile, backup: Backup) -> None:
    told = {
        "form": FORM,
        "id": str(backup.id),
        "made_at": backup.made_at.isoformat(),
        "database": backup.vendor,
        "database_sha256": backup.database_sha256,
        "head": asdict(backup.head),
        "files": backup.files,
    }
    data = json.dumps(told, indent=2).encode()
    member = tarfile.TarInfo(MANIFEST)
    member.size = len(data)
    archive.addfile(member, BytesIO(data))


def _unpack(source: Path, backup: Backup, folder: Path, progress: Progress) -> None:
    """Unpack what a backup of ours holds, nothing else, and hold every part against its hash."""
    count = 0
    try:
        with tarfile.open(source) as archive:
            for member in archive:
                if not member.isfile() or not _is_known(member.name, backup):
                    raise RestoreRefused(f"{source} holds {member.name!r}, which no backup has.")
                archive.extract(member, folder, filter="data")
                if member.name.startswith("files/"):
                    count += 1
                    progress("Reading files", count, backup.files)
    except (tarfile.TarError, OSError) as fault:
        raise RestoreRefused(f"{source} cannot be read to its end: {fault}.") from fault
    database = folder / NAMES[backup.vendor]
    if not database.exists() or _digest(database) != backup.database_sha256:
        raise RestoreRefused(f"The database in {source} is not the one that its manifest names.")
    if count != backup.files:
        raise RestoreRefused(f"{source} holds {count} files and its manifest names {backup.files}.")
    for file in folder.glob("files/*/*"):
        if _digest(file) != file.name:
            raise RestoreRefused(f"The file {file.name} in {source} was changed.")


def _is_known(name: str, backup: Backup) -> bool:
    parts = name.split("/")
    is_file = len(parts) == 3 and parts[0] == "files" and len(parts[2]) == 64 and parts[1] == parts[2][:2]
    return is_file or name in {NAMES[backup.vendor], SECRET_KEY, MANIFEST}


def _is_stored(path: Path) -> bool:
    """A file in its place, and not one that is just being written."""
    return len(path.name) == 64


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
