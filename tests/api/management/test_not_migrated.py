"""What a person meets who forgot to migrate."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]


@pytest.mark.sqlite
def test_a_command_before_migrating_says_to_migrate(own_installation: dict[str, str]) -> None:
    command = [sys.executable, str(ROOT / "manage.py"), "restock"]
    run = subprocess.run(command, env=own_installation, capture_output=True, text=True, timeout=120)
    assert run.returncode == 1
    assert run.stderr.strip().endswith("Run `python manage.py migrate` first.")
    assert "Traceback" not in run.stderr
