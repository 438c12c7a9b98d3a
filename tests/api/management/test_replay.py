"""What the demo's replay refuses, and what it makes first. The whole of it is in the journeys."""

import json
import shutil
from pathlib import Path

import pytest

from api.management.commands.demo import FOLDER
from api.management.replay import HoldsAnotherCompany, MadeFromOtherFiles, Scenario, set_up
from inventory.models import Actor, DomainEvent, Party, Place
from inventory.services.company import get_system_actor, set_up_company

pytestmark = pytest.mark.django_db


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(
        shutil.copytree(FOLDER, tmp_path / "files", ignore=shutil.ignore_patterns("*.py", "scenario"))
    )


@pytest.fixture
def actor() -> Actor:
    return get_system_actor("command-line", "Command line")


def test_set_up_makes_partners_and_places_once(folder: Path, actor: Actor) -> None:
    scenario = Scenario.load(folder)
    set_up(scenario, by=actor)
    counts = (Party.objects.count(), Place.objects.count(), DomainEvent.objects.count())
    set_up(scenario, by=actor)
    assert (Party.objects.count(), Place.objects.count(), DomainEvent.objects.count()) == counts
    truck = Place.objects.select_related("parent").get(code="truck-3")
    assert truck.parent is not None
    assert (truck.parent.code, truck.payload_kg) == ("south-yard", 2200)
    assert Place.objects.get(code="customer:northfen").kind == Place.Kind.CUSTOMER


def test_set_up_refuses_files_that_changed_since(folder: Path, actor: Actor) -> None:
    set_up(Scenario.load(folder), by=actor)
    description = json.loads((folder / "company.json").read_text(encoding="utf-8"))
    description["suppliers"].append({"code": "late", "name": "Late"})
    (folder / "company.json").write_text(json.dumps(description), encoding="utf-8")
    with pytest.raises(MadeFromOtherFiles, match="files that have changed since"):
        set_up(Scenario.load(folder), by=actor)
    assert not Party.objects.filter(code="late").exists()


def test_set_up_refuses_another_company(folder: Path, actor: Actor) -> None:
    set_up_company(code="other", name="Other (invented)", currency="USD", time_zone="UTC")
    with pytest.raises(HoldsAnotherCompany, match=r"belongs to Other \(invented\)"):
        set_up(Scenario.load(folder), by=actor)
    assert not Place.objects.filter(code="north-yard").exists()
