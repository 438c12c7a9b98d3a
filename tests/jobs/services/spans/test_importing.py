"""Span lists as they come: stored whole, or every fault named and nothing stored."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, DomainEvent, ExternalReference, Holding, Place, Requirement
from jobs.models import AccessPoint, CrewDayStep, Job, Run, Span
from jobs.services.job_life import JobIsOver, JobOpening
from jobs.services.needs import write_needs
from jobs.services.spans import SpanImport, import_spans, importing
from tests.factories.inventory import make_world
from tests.factories.jobs import add_step, make_crew, make_crew_day, make_job, make_run, make_span

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HEADER = "span,run,cable size,length,near,far"
FIRST = f"""{HEADER},slack,bends,reference,near kind
S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal
S2,R1,P500,388 ft 6 in,P2,P3,,,D-2,
S3,R2,.625,125.6 m,P3,P4,,,D-3,vault
"""

pytestmark = pytest.mark.django_db


@pytest.fixture
def take(tmp_path: Path) -> Any:
    actor = Actor.objects.create(code="planner", name="Planner", kind="person")

    def take_text(text: str | bytes, *, job: str = "J-1", new: bool = True, **options: Any) -> SpanImport:
        path = tmp_path / "spans.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        opening = JobOpening() if new and not Job.objects.filter(reference=job).exists() else None
        return import_spans(
            path=path, job_reference=job, by=actor, occurred_at=NOON, opening=opening, **options
        )

    return take_text


def _faults(take: Any, text: str | bytes, **options: Any) -> list[Fault]:
    before = (Job.objects.count(), Span.objects.count(), Place.objects.count(), DomainEvent.objects.count())
    with pytest.raises(BadInput) as refused:
        take(text, **options)
    after = (Job.objects.count(), Span.objects.count(), Place.objects.count(), DomainEvent.objects.count())
    assert after == before
    return list(refused.value.faults)


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
    faults = _faults(take, text)
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
    faults = _faults(take, text)
    assert [(fault.line, fault.pointer) for fault in faults] == [
        (2, "span"),
        (3, "length"),
        (4, "reference"),
    ]


def test_import_spans_does_not_call_a_run_broken_for_a_row_it_cannot_read(take: Any) -> None:
    text = f"{HEADER}\nS1,R1,.500,9 ft,P1,P2\nS2,R1,.500,9 ft,,P3\nS3,R1,.500,9 ft,P3,P4\n"
    (fault,) = _faults(take, text)
    assert (fault.line, fault.pointer) == (3, "near")


def test_import_spans_names_an_unknown_size_with_those_that_are_known(take: Any) -> None:
    (fault,) = _faults(take, f"{HEADER}\nS1,R1,.555,412 ft,P1,P2\n")
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
    (fault,) = _faults(take, f"{HEADER}\n{rows}\n")
    assert fault.line == line
    assert said in fault.message


def test_import_spans_refuses_kinds_that_disagree(take: Any) -> None:
    (fault,) = _faults(
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
    (fault,) = _faults(
        take, f"{HEADER},done\nS1,R1,.500,9 ft,P1,P2,cleaned\nS2,R1,.500,9 ft,P2,P3,extracted\n"
    )
    assert (fault.line, fault.pointer) == (3, "done")


def test_import_spans_shows_a_difference_and_stores_nothing_on_a_dry_run(take: Any) -> None:
    found = take(FIRST, is_dry_run=True)
    assert (len(found.difference.added), found.is_stored, Job.objects.count()) == (3, False, 0)


def test_import_spans_again_changes_nothing(take: Any) -> None:
    take(FIRST)
    keys = list(Span.objects.order_by("pk").values_list("pk", flat=True))
    found = take(FIRST)
    assert found.difference.is_nothing
    assert found.difference.unchanged_count == 3
    assert list(Span.objects.order_by("pk").values_list("pk", flat=True)) == keys


def test_import_spans_again_is_a_revision(take: Any) -> None:
    take(FIRST)
    second = FIRST.replace("412 ft", "420 ft").replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", "")
    second += "S4,R1,.500,60 ft,P3,P9,,,D-4,\n"
    difference = take(second).difference
    assert [listed.name for listed in difference.added] == ["S4"]
    assert [(change.span.name, change.sentences) for change in difference.changed] == [
        ("S1", ("length 420 ft, was 412 ft",))
    ]
    assert [span.name for span in difference.withdrawn] == ["S3"]
    assert Span.objects.get(name="S1").length_um == 420 * 304_800
    withdrawn = Span.objects.select_related("place", "run__place").get(name="S3")
    assert withdrawn.is_withdrawn
    assert withdrawn.place.is_withdrawn
    assert withdrawn.run.is_withdrawn
    assert Span.objects.get(name="S4").sequence == 3


def test_import_spans_takes_a_withdrawn_span_back_with_its_place(take: Any) -> None:
    take(FIRST)
    place = Span.objects.get(name="S3").place_id
    take(FIRST.replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", ""))
    take(FIRST)
    span = Span.objects.select_related("place", "run").get(name="S3")
    assert (span.place_id, span.is_withdrawn, span.place.is_withdrawn) == (place, False, False)
    assert not span.run.is_withdrawn


def test_import_spans_sees_that_a_span_was_split(take: Any) -> None:
    take(FIRST)
    pieces = "S3a,R2,.625,60 m,P3,X1,,,,\nS3b,R2,.625,65.6 m,X1,P4,,,,\n"
    difference = take(FIRST.replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", pieces)).difference
    assert {name: span.name for name, span in difference.split.items()} == {"S3a": "S3", "S3b": "S3"}
    old = Span.objects.get(name="S3")
    assert list(Span.objects.filter(split_from=old).values_list("name", flat=True)) == ["S3a", "S3b"]


def test_import_spans_sees_a_split_whose_near_piece_kept_the_name(take: Any) -> None:
    take(FIRST)
    pieces = "S3,R2,.625,60 m,P3,X1,,,D-3,\nS3b,R2,.625,65.6 m,X1,P4,,,,\n"
    difference = take(FIRST.replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", pieces)).difference
    assert {name: span.name for name, span in difference.split.items()} == {"S3b": "S3"}


def test_import_spans_never_changes_work_that_is_done(take: Any) -> None:
    take(FIRST)
    Span.objects.filter(name="S1").update(extracted_at=NOON)
    (fault,) = _faults(take, FIRST.replace("412 ft", "420 ft"))
    assert (fault.line, fault.value) == (2, "S1")
    assert "length 420 ft, was 412 ft" in fault.message
    without = FIRST.replace("S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal\n", "")
    (fault,) = _faults(take, without)
    assert "cannot be withdrawn" in fault.message


def test_import_spans_never_changes_a_span_to_which_goods_were_charged(take: Any) -> None:
    world = make_world()
    take(FIRST)
    place = Span.objects.get(name="S2").place
    Holding.objects.create(
        key=f"{place.pk}:{world.fluid.pk}:{world.company.pk}:0",
        place=place,
        material=world.fluid,
        owner=world.company,
        quantity=5_000_000,
        is_kept=True,
    )
    (fault,) = _faults(take, FIRST.replace("388 ft 6 in", "388 ft"))
    assert fault.value == "S2"


def test_import_spans_takes_other_facts_about_work_that_is_done(take: Any) -> None:
    take(FIRST)
    Span.objects.filter(name="S1").update(extracted_at=NOON)
    take(FIRST.replace(",10 ft,2,D-1", ",10 ft,3,D-1x"))
    assert Span.objects.get(name="S1").bends == 3
    assert ExternalReference.objects.filter(identifier="D-1x").exists()
    assert not ExternalReference.objects.filter(identifier="D-1").exists()


def test_import_spans_refuses_a_reference_of_another_span(take: Any) -> None:
    take(FIRST)
    (fault,) = _faults(take, f"{HEADER},reference\nS9,R9,.500,9 ft,P1,P2,D-3\n", job="J-2")
    assert (fault.line, fault.value) == (2, "D-3")


def test_import_spans_keeps_a_derived_runs_name_when_spans_come_in_front(take: Any) -> None:
    header = HEADER.replace("run,", "")
    take(f"{header}\nS1,.500,60 ft,P1,P2\nS2,.500,55 ft,P2,P3\n")
    key = Run.objects.get().pk
    take(f"{header}\nS0,.500,60 ft,P0,P1\nS1,.500,60 ft,P1,P2\nS2,.500,55 ft,P2,P3\n")
    assert Run.objects.get().pk == key
    assert [span.name for span in Run.objects.get().spans.all()] == ["S0", "S1", "S2"]


def test_import_spans_takes_a_withdrawn_span_off_its_day_and_its_needs(take: Any) -> None:
    make_world()
    take(FIRST)
    day = make_crew_day(make_crew())
    for span in Span.objects.all():
        add_step(day, CrewDayStep.Kind.EXTRACT, span=span)
    write_needs([day])
    before = Requirement.objects.get(material__code="fluid").mean
    take(FIRST.replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", ""))
    assert list(day.steps.values_list("span__name", flat=True)) == ["S1", "S2"]
    assert 0 < Requirement.objects.get(material__code="fluid").mean < before


def test_import_spans_refuses_to_change_what_is_loaded(take: Any) -> None:
    take(FIRST)
    day = make_crew_day(make_crew())
    add_step(day, CrewDayStep.Kind.EXTRACT, span=Span.objects.get(name="S1"))
    add_step(day, CrewDayStep.Kind.CLEAN, run=Run.objects.get(name="R2"))
    day.state = "loaded"
    day.save()
    changed = FIRST.replace("412 ft", "420 ft").replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", "")
    assert sorted(fault.value for fault in _faults(take, changed)) == ["S1", "S3"]


def test_import_spans_leaves_other_jobs_alone(take: Any) -> None:
    take(FIRST)
    other = Job.objects.create(
        reference="J-2", place=Place.objects.create(code="job:J-2", name="J-2", kind="job")
    )
    make_span(make_run(other), "S1", "P1", "P2")
    take(FIRST.replace("S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal\n", ""))
    assert not Span.objects.get(job=other).is_withdrawn


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


def test_import_spans_refuses_what_another_stored_meanwhile(take: Any, monkeypatch: Any) -> None:
    take(FIRST)
    read = importing.read_span_list

    def read_while_another_stores(*arguments: Any, **options: Any) -> Any:
        Job.objects.update(span_revision=7)
        return read(*arguments, **options)

    monkeypatch.setattr(importing, "read_span_list", read_while_another_stores)
    with pytest.raises(importing.SpansChangedMeanwhile, match="run the import again"):
        take(FIRST.replace("412 ft", "420 ft"))
    assert Span.objects.get(name="S1").entered_length == "412"


def test_import_spans_refuses_when_work_was_reported_meanwhile(take: Any, monkeypatch: Any) -> None:
    take(FIRST)
    read = importing.read_span_list

    def read_while_a_crew_reports(*arguments: Any, **options: Any) -> Any:
        Span.objects.filter(name="S1").update(extracted_at=NOON)
        return read(*arguments, **options)

    monkeypatch.setattr(importing, "read_span_list", read_while_a_crew_reports)
    with pytest.raises(importing.SpansChangedMeanwhile, match="reported on S1"):
        take(FIRST.replace("412 ft", "420 ft"))
    assert Span.objects.get(name="S1").entered_length == "412"
