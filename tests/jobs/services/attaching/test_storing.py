"""Files and their rows: no row without a file, no file for ever without a row."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Material
from jobs.models import AttachedDocument, StoredFile
from jobs.services.attaching import attaching, storing
from jobs.services.attaching.attaching import attach
from jobs.services.attaching.storing import FileMissing, find_path, open_file, sweep_orphans
from jobs.tasks import sweep_files
from tests.factories.inventory import make_world

pytestmark = pytest.mark.django_db
PAPER = b"%PDF-1.7 one\n%%EOF"


@pytest.fixture(autouse=True)
def _own_directory(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIRECTORY = tmp_path


def _attach(data: bytes = PAPER, **fields: Any) -> AttachedDocument:
    material = Material.objects.get(code="fluid")
    actor = material.documents.model._meta.get_field("by").related_model.objects.get(code="stores")
    return attach(**{"id": uuid4(), "by": actor, "thing": material, "name": "sheet", "data": data, **fields})


def _age(path: Path) -> None:
    long_ago = (datetime.now(UTC) - timedelta(days=2)).timestamp()
    os.utime(path, (long_ago, long_ago))


def test_same_content_is_stored_once() -> None:
    make_world()
    first, second = _attach(), _attach()
    assert first.pk != second.pk
    assert first.file == second.file
    assert [path.name for path in storing.file_directory().glob("*/*")] == [first.file.sha256]
    assert open_file(first.file.sha256) == PAPER


def test_crash_before_commit_leaves_a_file_that_is_swept_and_no_row(monkeypatch: pytest.MonkeyPatch) -> None:
    make_world()

    def crash(**_fields: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(attaching.AttachedDocument.objects, "create", crash)
        with pytest.raises(KeyboardInterrupt):
            _attach()
    assert not AttachedDocument.objects.exists()
    assert not StoredFile.objects.exists()
    (left,) = storing.file_directory().glob("*/*")
    assert sweep_files() == 0
    _age(left)
    assert sweep_files() == 1
    assert not left.exists()


def test_crash_while_writing_leaves_no_row_and_no_half_file(monkeypatch: pytest.MonkeyPatch) -> None:
    make_world()

    def crash(_number: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(storing.os, "fsync", crash)
        with pytest.raises(OSError, match="No space"):
            _attach()
    assert not AttachedDocument.objects.exists()
    (draft,) = storing.file_directory().glob("*/*")
    assert not find_path(draft.name.split(".")[0]).exists()
    _age(draft)
    assert sweep_orphans(now=datetime.now(UTC)) == 1


def test_sweep_leaves_what_a_row_names() -> None:
    make_world()
    kept = find_path(_attach().file.sha256)
    _age(kept)
    assert sweep_files() == 0
    assert kept.exists()


def test_lost_file_is_said_and_comes_back_with_the_same_content() -> None:
    make_world()
    sha256 = _attach().file.sha256
    find_path(sha256).unlink()
    with pytest.raises(FileMissing):
        open_file(sha256)
    _attach()
    assert open_file(sha256) == PAPER
