"""Span lists that come again: what changed is revised, what was worked, loaded or charged stays."""

from typing import Any

import pytest

from inventory.models import ExternalReference, Holding, Place, Requirement
from jobs.models import CrewDayStep, Job, Run, Span
from jobs.services.needs import write_needs
from jobs.services.spans import importing
from tests.factories.inventory import make_world
from tests.factories.jobs import add_step, make_crew, make_crew_day, make_run, make_span
from tests.jobs.services.spans.span_lists import FIRST, HEADER, NOON, faults_of

pytestmark = pytest.mark.django_db


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
    (fault,) = faults_of(take, FIRST.replace("412 ft", "420 ft"))
    assert (fault.line, fault.value) == (2, "S1")
    assert "length 420 ft, was 412 ft" in fault.message
    without = FIRST.replace("S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal\n", "")
    (fault,) = faults_of(take, without)
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
    (fault,) = faults_of(take, FIRST.replace("388 ft 6 in", "388 ft"))
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
    (fault,) = faults_of(take, f"{HEADER},reference\nS9,R9,.500,9 ft,P1,P2,D-3\n", job="J-2")
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
    told = take(FIRST.replace("S3,R2,.625,125.6 m,P3,P4,,,D-3,vault\n", ""))
    assert told.changed_days == ((day.date, day.crew.code),)
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
    assert sorted(fault.value for fault in faults_of(take, changed)) == ["S1", "S3"]


def test_import_spans_leaves_other_jobs_alone(take: Any) -> None:
    take(FIRST)
    other = Job.objects.create(
        reference="J-2", place=Place.objects.create(code="job:J-2", name="J-2", kind="job")
    )
    make_span(make_run(other), "S1", "P1", "P2")
    take(FIRST.replace("S1,R1,.500,412 ft,P1,P2,10 ft,2,D-1,pedestal\n", ""))
    assert not Span.objects.get(job=other).is_withdrawn


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
