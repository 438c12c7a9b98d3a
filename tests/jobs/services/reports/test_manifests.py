"""Waste that a crew hands over stands under the same manifest as the desk's, and goes with a correction."""

from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Container, Entry, WasteDrum, WasteManifest
from inventory.queries.verification import verify_ledger
from inventory.services.waste import ManifestTaken, hand_over_waste, start_waste_drum
from inventory.units import format_millionths
from jobs.queries.field_waste import find_field_waste
from jobs.services.reports.content import ReportContent, WasteContent
from jobs.services.reports.reporting import correct_report
from tests.factories.inventory import at
from tests.factories.reports import S1, ReportedDay, caught, extracted, gallons, left, make_reported_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> ReportedDay:
    """A day on which nine gallons were caught in C-1."""
    found = make_reported_day()
    found.report(
        ReportContent(
            attempts=(extracted(S1, source_container="D-1", injected=gallons(10)),),
            caught=(caught("C-1", S1),),
            readings=(left("D-1", "45"), left("C-1", "9")),
        ),
        hours=8,
    )
    return found


def box(label: str) -> Container:
    return Container.objects.get(label=label)


def hand_over(day: ReportedDay, *told: WasteContent, hours: float = 9) -> Any:
    return day.report(ReportContent(waste=told), hours=hours)


def goods(number: str = "M-100") -> list[tuple[str, str]]:
    rows = find_field_waste({number}).get(number, [])
    return [(row.container.label, format_millionths(row.quantity, row.material.stock_unit)) for row in rows]


def test_note_manifests_keeps_the_paper_and_ends_the_drum(day: ReportedDay) -> None:
    drum = start_waste_drum(container=box("C-1"), by=day.world.actor, occurred_at=at(8), day_limit=90)
    report = hand_over(day, WasteContent("M-100", "C-1", receiver="Works (invented)"))
    manifest = WasteManifest.objects.get()
    assert (manifest.number, manifest.receiver, manifest.entry) == ("M-100", "Works (invented)", None)
    assert (manifest.handed_at, manifest.by) == (report.occurred_at, report.by)
    drum.refresh_from_db()
    assert drum.manifest == manifest
    assert goods() == [("C-1", "9 gal")]


def test_note_manifests_of_a_part_lets_the_drum_gather_on(day: ReportedDay) -> None:
    drum = start_waste_drum(container=box("C-1"), by=day.world.actor, occurred_at=at(8))
    hand_over(day, WasteContent("M-100", "C-1", amount=gallons(4)))
    drum.refresh_from_db()
    assert drum.manifest is None
    assert goods() == [("C-1", "4 gal")]
    hand_over(day, WasteContent("M-101", "C-1", amount=gallons(5)), hours=10)
    drum.refresh_from_db()
    assert drum.manifest == WasteManifest.objects.get(number="M-101")


def test_two_reports_and_the_desk_name_one_paper(day: ReportedDay) -> None:
    hand_over(day, WasteContent("M-100", "C-1", amount=gallons(4)))
    hand_over(day, WasteContent("M-100", "C-1", amount=gallons(2)), hours=10)
    made = hand_over_waste(
        id=uuid4(),
        by=day.world.actor,
        occurred_at=at(11),
        containers=[box("C-1")],
        number="M-100",
        receiver="Works (invented)",
    )
    assert WasteManifest.objects.get() == made
    assert made.receiver == "Works (invented)"
    assert goods() == [("C-1", "4 gal"), ("C-1", "2 gal")]
    entry = made.entry
    assert entry is not None
    assert entry.movements.get().quantity == 3_000_000
    with pytest.raises(ManifestTaken):
        hand_over_waste(
            id=uuid4(), by=day.world.actor, occurred_at=at(12), containers=[box("C-2")], number="M-100",
            receiver="Works (invented)",
        )  # fmt: skip
    assert list(verify_ledger()) == []


def test_report_after_the_desk_names_the_desks_paper(day: ReportedDay) -> None:
    made = hand_over_waste(
        id=uuid4(),
        by=day.world.actor,
        occurred_at=at(9),
        containers=[box("C-2")],
        number="M-100",
        receiver="Works (invented)",
    )
    hand_over(day, WasteContent("M-100", "C-1", receiver="the works"), hours=10)
    manifest = WasteManifest.objects.get()
    assert (manifest.entry, manifest.receiver) == (made.entry, "Works (invented)")


def test_correction_takes_the_paper_back_that_nobody_tells_of_any_more(day: ReportedDay) -> None:
    drum = start_waste_drum(container=box("C-1"), by=day.world.actor, occurred_at=at(8))
    report = hand_over(day, WasteContent("M-100", "C-1"))
    correct_report(
        id=uuid4(),
        corrects=report.uuid,
        by=day.world.other_actor,
        occurred_at=at(9),
        content=ReportContent(waste=(WasteContent("M-200", "C-1"),)),
    )
    assert WasteManifest.objects.get().number == "M-200"
    assert (goods("M-100"), goods("M-200")) == ([], [("C-1", "9 gal")])
    again = WasteDrum.objects.get()
    assert again == drum
    assert again.manifest == WasteManifest.objects.get()


def test_correction_leaves_a_paper_that_another_report_tells_of(day: ReportedDay) -> None:
    first = hand_over(day, WasteContent("M-100", "C-1", amount=gallons(4)))
    hand_over(day, WasteContent("M-100", "C-1", amount=gallons(2)), hours=10)
    correct_report(
        id=uuid4(),
        corrects=first.uuid,
        by=day.world.other_actor,
        occurred_at=at(9),
        content=ReportContent(note="was another truck"),
    )
    assert WasteManifest.objects.get().number == "M-100"
    assert goods() == [("C-1", "2 gal")]


def test_report_sent_again_makes_no_second_paper(day: ReportedDay) -> None:
    id = uuid4()
    for _time in range(2):
        day.report(ReportContent(waste=(WasteContent("M-100", "C-1"),)), id=id)
    assert WasteManifest.objects.count() == 1
    assert Entry.objects.filter(document=f"report:{id}").count() == 1
