"""Span lists as they come: stored whole, or every fault named and nothing stored."""

import json
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from inventory.errors import SpanstockError
from inventory.models import Actor, DomainEvent, ExternalReference
from jobs.models import AccessPoint, Job, Run, Span
from jobs.services.job_life import JobIsOver, JobOpening
from jobs.services.spans import import_spans
from tests.factories.jobs import make_job, make_run, make_span
from tests.jobs.services.spans.span_lists import FIRST, HEADER, NOON, faults_of

pytestmark = pytest.mark.django_db


def test_import_spans_makes_job_runs_spans_and_their_places(take: Any) -> None:
    found = take(FIRST)
    assert (found.is_job_new, found.is_stored, found.span_count, found.run_count) == (True, True, 3, 2)
    first = Span.objects.select_related("run", "near", "far", "cable_size", "place__parent").get(name="S1")
    # 412 ft of exactly 304,800 micrometres.
    assert first.length_um == 412 * 304_800
    assert (first.entered_length, first.entered_unit) == ("412", "[ft_i]")
    assert (first.run.name, first.sequence, first.cable_size.designation) == ("R1", 1, ".500")
    assert (first.near.name, first.near.kind, first.far.name) == ("P1", "pedestal", "P2")
    assert (first.bends, first.slack_um) == (2, 10 * 304_800)
    assert first.place.code == "span:J-1:S1"
    assert first.place.parent == first.run.place
    assert first.run.place.parent == Job.objects.get().place
    second = Span.objects.get(name="S2")
    assert (second.length_um, second.sequence) == (int(388.5 * 304_800), 2)
    assert Span.objects.get(name="S3").length_um == 125_600_000
    assert AccessPoint.objects.count() == 4


def test_import_spans_keeps_the_names_other_systems_give(take: Any) -> None:
    take(FIRST)
    span = Span.objects.get(name="S2")
    reference = ExternalReference.objects.get(system="design", identifier="D-2")
    assert (reference.noun, reference.record_id) == ("jobs.span", str(span.pk))


def test_import_spans_tells_of_it_once(take: Any) -> None:
    take(FIRST)
    take(FIRST)
    assert DomainEvent.objects.filter(kind="spans_revised").count() == 1


@pytest.mark.outside_check(
    "a street crossing that passes one pedestal is two spans and one union; common practice, no source"
)
def test_import_spans_makes_one_run_of_a_street_crossing(take: Any) -> None:
    take(f"{HEADER.replace('run,', '')}\nS1,.500,60 ft,P1,P2\nS2,.500,55 ft,P2,P3\n")
    run = Run.objects.get()
    assert run.spans.count() == 2
    assert run.spans.count() - 1 == 1
    assert (run.name, run.is_derived) == ("P1 to P3", True)


def test_import_spans_parts_runs_where_bore_or_access_point_changes(take: Any) -> None:
    take(
        f"{HEADER.replace('run,', '')}\nS1,.500,60 ft,P1,P2\nS2,.625,55 ft,P2,P3\n"
        "S3,.625,55 ft,P3,P4\nS4,.625,55 ft,P9,P10\n"
    )
    runs = {run.name: [span.name for span in run.spans.all()] for run in Run.objects.all()}
    assert runs == {"P1 to P2": ["S1"], "P2 to P4": ["S2", "S3"], "P9 to P10": ["S4"]}


def test_import_spans_orders_a_run_by_its_sequence(take: Any) -> None:
    take(f"{HEADER},sequence\nS2,R1,.500,60 ft,P2,P3,20\nS1,R1,.500,60 ft,P1,P2,10\n")
    assert list(Span.objects.order_by("sequence").values_list("name", "sequence")) == [("S1", 1), ("S2", 2)]


def test_import_spans_takes_windows_files_with_semicolons(take: Any) -> None:
    text = "Span;Cable Size;Length (m);From;To\r\nCalle 1;500;125,5;Peña;P2\r\n\r\n".encode("cp1252")
    take(text)
    span = Span.objects.select_related("near").get()
    assert (span.length_um, span.near.name) == (125_500_000, "Peña")


def test_import_spans_takes_a_mark_tabs_and_loose_headers(take: Any) -> None:
    take(b"\xef\xbb\xbf" + b"SPANS\tCable_Sizes\tLENGTH_FT\tFrom\tTo\nS1\t0.5\t1,412\tP1\tP2\n")
    assert Span.objects.get().length_um == 1412 * 304_800


def test_import_spans_takes_a_workbook_with_typed_numbers(tmp_path: Path) -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["Span", "Size", "Length (ft)", "From", "To"])
    book.active.append(["S1", 0.5, 412, "P1", "P2"])
    book.active.append([2, 500, 388.5, "P2", "P3"])
    path = tmp_path / "spans.xlsx"
    book.save(path)
    actor = Actor.objects.create(code="planner", name="Planner", kind="person")
    import_spans(path=path, job_reference="J-1", by=actor, occurred_at=NOON, opening=JobOpening())
    assert list(Span.objects.order_by("sequence").values_list("name", "length_um")) == [
        ("S1", 412 * 304_800),
        ("2", int(388.5 * 304_800)),
    ]


def test_import_spans_names_every_fault_in_one_go(take: Any) -> None:
    text = f"""{HEADER}
S1,R1,.500,412 ft,P1,P2
S2,R1,.555,many,P2,P3
S3,R1,.500,412,P3,P3
S1,R2,.500,10 ft,P7,P8
,R2,.500,0 ft,P8,P9
"""
    faults = faults_of(take, text)
    assert [(fault.line, fault.pointer) for fault in faults] == [
        (3, "length"),
        (3, "cable size"),
        (4, "length"),
        (4, "far"),
        (5, "span"),
        (6, "span"),
        (6, "length"),
    ]
    assert "already on line 2" in faults[4].message


def test_import_spans_names_what_the_job_refuses_beside_what_cannot_be_read(take: Any) -> None:
    take(FIRST)
    Span.objects.filter(name="S1").update(extracted_at=NOON)
    make_span(make_run(make_job("J-2")), "S1", "P1", "P2")
    other = Span.objects.get(job__reference="J-2")
    ExternalReference.objects.create(
        system="design", identifier="D-9", noun="jobs.span", record_id=str(other.pk)
    )
    text = FIRST.replace("412 ft", "420 ft").replace("388 ft 6 in", "long").replace("D-3", "D-9")
    faults = faults_of(take, text)
    assert [(fault.line, fault.pointer) for fault in faults] == [
        (2, "span"),
        (3, "length"),
        (4, "reference"),
    ]


def test_import_spans_does_not_call_a_run_broken_for_a_row_it_cannot_read(take: Any) -> None:
    text = f"{HEADER}\nS1,R1,.500,9 ft,P1,P2\nS2,R1,.500,9 ft,,P3\nS3,R1,.500,9 ft,P3,P4\n"
    (fault,) = faults_of(take, text)
    assert (fault.line, fault.pointer) == (3, "near")


def test_import_spans_names_an_unknown_size_with_those_that_are_known(take: Any) -> None:
    (fault,) = faults_of(take, f"{HEADER}\nS1,R1,.555,412 ft,P1,P2\n")
    assert (fault.line, fault.pointer, fault.value) == (2, "cable size", ".555")
    assert ".500 .540" in fault.message


@pytest.mark.parametrize(
    ("rows", "line", "said"),
    [
        ("S1,R1,.500,9 ft,P1,P2\nS2,R1,.625,9 ft,P2,P3", 3, "one bore"),
        ("S1,R1,.500,9 ft,P1,P2\nS2,R1,.500,9 ft,P3,P4", 3, "ends at P2"),
        ("S1,R1,.500,9 ft,P1,P1", 2, "two ends"),
    ],
)
def test_import_spans_refuses_what_is_no_run(take: Any, rows: str, line: int, said: str) -> None:
    (fault,) = faults_of(take, f"{HEADER}\n{rows}\n")
    assert fault.line == line
    assert said in fault.message


def test_import_spans_refuses_kinds_that_disagree(take: Any) -> None:
    (fault,) = faults_of(
        take, f"{HEADER},near kind,far kind\nS1,R1,.500,9 ft,P1,P2,,vault\nS2,R1,.500,9 ft,P2,P3,pole,\n"
    )
    assert (fault.line, fault.pointer, fault.value) == (3, "near kind", "pole")
    assert "P2 is a vault on line 2" in fault.message


def test_import_spans_refuses_an_empty_file_and_an_absent_one(take: Any, tmp_path: Path) -> None:
    with pytest.raises(SpanstockError, match="empty"):
        take("")
    with pytest.raises(SpanstockError, match="no rows"):
        take(HEADER)
    assert not Job.objects.exists()


def test_import_spans_refuses_a_job_that_is_not_there(take: Any) -> None:
    with pytest.raises(SpanstockError, match="--create-job"):
        take(FIRST, new=False)


def test_import_spans_refuses_a_job_that_is_over(take: Any) -> None:
    take(FIRST)
    Job.objects.update(state=Job.State.CANCELLED)
    with pytest.raises(JobIsOver, match="cancelled"):
        take(FIRST)


def test_import_spans_takes_steps_that_were_done_before(take: Any) -> None:
    take(
        f"{HEADER},done\nS1,R1,.500,9 ft,P1,P2,cleaned\nS2,R1,.500,9 ft,P2,P3,extracted; cleaned\n"
        "S3,R2,.500,9 ft,P5,P6,extracted\nS4,R2,.500,9 ft,P6,P7,\n"
    )
    assert set(Span.objects.filter(was_extracted_before_start=True).values_list("name", flat=True)) == {
        "S1",
        "S2",
        "S3",
    }
    assert list(Run.objects.values_list("name", "was_cleaned_before_start")) == [("R1", True), ("R2", False)]


def test_import_spans_refuses_a_run_that_is_cleaned_in_part(take: Any) -> None:
    (fault,) = faults_of(
        take, f"{HEADER},done\nS1,R1,.500,9 ft,P1,P2,cleaned\nS2,R1,.500,9 ft,P2,P3,extracted\n"
    )
    assert (fault.line, fault.pointer) == (3, "done")


def test_import_spans_shows_a_difference_and_stores_nothing_on_a_dry_run(take: Any) -> None:
    found = take(FIRST, is_dry_run=True)
    assert (len(found.difference.added), found.is_stored, Job.objects.count()) == (3, False, 0)


def test_import_spans_measures_the_lines_of_a_map(tmp_path: Path) -> None:
    # One thousandth of a degree of latitude at the equator: 110.574 m on the WGS 84 ellipsoid.
    feature = {
        "type": "Feature",
        "properties": {"span": "S1", "cable size": "P500", "from": "P1", "to": "P2"},
        "geometry": {"type": "LineString", "coordinates": [[0.0, 0.0], [0.0, 0.001]]},
    }
    path = tmp_path / "spans.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    actor = Actor.objects.create(code="planner", name="Planner", kind="person")
    import_spans(path=path, job_reference="J-1", by=actor, occurred_at=NOON, opening=JobOpening())
    span = Span.objects.get()
    assert (span.length_um, span.entered_unit) == (pytest.approx(110_574_000, abs=1_000), "m")
