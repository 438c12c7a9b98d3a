"""`restock --replay`: what the command says of a past stretch that was lived through again."""

import json

import pytest
from django.core.management import call_command

from tests.factories.inventory import make_world
from tests.inventory.queries.test_policy_replay import JUDGED, LEARNT, MONDAY, supplier, world

pytestmark = pytest.mark.django_db
# The fixtures: seven pieces every Monday, a week from sending to receipt.
__all__ = ["supplier", "world"]


def replayed(*more: str) -> None:
    call_command(
        "restock", "--replay", str(JUDGED), "--learn", str(LEARNT), "--date", MONDAY.isoformat(), *more
    )


@pytest.mark.usefixtures("supplier")
def test_restock_replay_says_what_each_rule_reached(capsys: pytest.CaptureFixture[str]) -> None:
    replayed()
    said = capsys.readouterr().out
    lines = {line.strip().split("  ")[0]: line.split() for line in said.splitlines() if line.strip()}
    # The numbers are those of the test by hand of `replay_policy`.
    assert "smooth (1), aim 95.0% not short" in said
    assert lines["policy"][1:6] == ["100.0%", "100.0%", "100.0%", "26.00", "USD"]
    assert lines["plain, 1.645 sd"][3:8] == ["100.0%", "100.0%", "100.0%", "12.00", "USD"]
    assert "117% more stock than the plain rule needs to fill as much" in " ".join(said.split())
    assert "100% of the use was recorded after the last day" in " ".join(said.split())
    assert max(len(line) for line in said.splitlines()) <= 80


@pytest.mark.usefixtures("supplier")
def test_restock_replay_says_the_same_to_programs(capsys: pytest.CaptureFixture[str]) -> None:
    replayed("--format", "json")
    said = json.loads(capsys.readouterr().out)
    [row] = said["classes"]
    assert (row["demand_class"], row["target_kind"], row["target"]) == ("smooth", "cycle_service", 0.95)
    assert (row["policy"]["fill_rate"], row["policy"]["cycle_service"], row["policy"]["orders"]) == (1, 1, 14)
    assert row["policy"]["mean_stock"]["value"] == "26.00"
    assert row["plain"]["safety_factor"] == 1.645
    assert row["plain"]["mean_stock"]["value"] == "12.00"
    assert row["stock_ratio_at_equal_fill"] == pytest.approx(26 / 12, abs=1e-6)
    assert (said["materials_judged"], said["materials_with_deliveries"]) == (1, 0)


def test_restock_replay_of_nothing_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    make_world()
    replayed()
    assert "Nothing was used in the weeks to learn from." in capsys.readouterr().out


def test_restock_replay_refuses_too_little_to_learn_from(capsys: pytest.CaptureFixture[str]) -> None:
    make_world()
    with pytest.raises(SystemExit) as refused:
        call_command("restock", "--replay", "4", "--learn", "3", "--date", MONDAY.isoformat())
    assert refused.value.code == 1
    assert "Learn from 12 weeks or more" in capsys.readouterr().err
