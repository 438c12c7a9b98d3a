"""What the deployment says is held against the code: variables, commands, ways to start."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[3]
DEPLOY = ROOT / "api" / "deploy"


@pytest.fixture(scope="module")
def services() -> dict[str, Any]:
    return dict(yaml.safe_load((DEPLOY / "compose.yaml").read_text())["services"])


def read_table() -> dict[str, list[str]]:
    """The command of each process in the guide's table."""
    rows = re.findall(
        r"^\| (\w+) \| [^|]+ \| `([^`]+)` \|$", (DEPLOY / "README.md").read_text(), re.MULTILINE
    )
    return {name: shlex.split(command) for name, command in rows}


def test_plain_commands_are_those_of_the_containers(services: dict[str, Any]) -> None:
    ours = {name: row["command"] for name, row in services.items() if row.get("image") == "spanstock"}
    assert set(ours) == {"migration", "web", "worker", "schedule"}
    assert read_table() == ours


def test_every_variable_of_the_containers_is_one_that_the_service_reads(services: dict[str, Any]) -> None:
    read = set(re.findall(r'\(\s*"([A-Z_]+)"', (ROOT / "api/config/environment.py").read_text()))
    known = {f"SPANSTOCK_{name}" for name in read}
    told = set(re.findall(r"SPANSTOCK_[A-Z_]+", (DEPLOY / "README.md").read_text()))
    for row in services.values():
        if row.get("image") == "spanstock":
            told |= set(row["environment"])
    assert "SPANSTOCK_DATABASE_URL" in told
    assert told <= known


def test_web_and_worker_wait_for_the_migration(services: dict[str, Any]) -> None:
    for name in ("web", "worker", "schedule"):
        conditions = {on: row["condition"] for on, row in services[name]["depends_on"].items()}
        assert conditions == {"migration": "service_completed_successfully", "broker": "service_healthy"}


def test_all_processes_share_the_attached_files(services: dict[str, Any]) -> None:
    for name in ("web", "worker", "schedule"):
        assert services[name]["volumes"] == ["data:/var/lib/spanstock"]


def test_every_folder_that_the_image_copies_is_there() -> None:
    for line in (DEPLOY / "Dockerfile").read_text().splitlines():
        if line.startswith("COPY "):
            for source in line.split()[1:-1]:
                assert (ROOT / source).exists(), source
