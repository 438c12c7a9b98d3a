"""Core in lots: expected by size and length, weighed, split to the gram, sold to the last millionth."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Actor
from inventory.services.documents import DocumentConflict
from inventory.units import WrongDimension, parse_amount
from jobs.errors import WorkRefused
from jobs.models import CoreMass, Job, ScrapLot, ScrapPart, ScrapShare, Span
from jobs.queries.core_scrap import get_job_scrap
from jobs.services.core_scrap import (
    LotClosed,
    ScrapOwnerUnknown,
    add_to_lot,
    sell_lot,
    set_core_mass,
    set_scrap_terms,
    weigh_lot,
)
from tests.factories.jobs import make_company, make_customer, make_job, make_run, make_size, make_span

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 5, tzinfo=UTC)


@pytest.fixture
def by(db: None) -> Actor:
    return Actor.objects.create(code="stores", name="Stores", kind="person")


def span_of(reference: str, feet: int = 400) -> Span:
    job = make_job(reference)
    return make_span(make_run(job), "S1", "A", "B", feet=feet)


def put(by: Actor, span: Span, length: str, unit: str = "m", **fields: Any) -> ScrapPart:
    values = {"id": uuid4(), "label": "LOT-1", "job": span.job, "span": span, **fields}
    return add_to_lot(by=by, occurred_at=NOW, length=parse_amount(length, unit), **values)


def weigh(by: Actor, kilograms: str = "10") -> ScrapLot:
    return weigh_lot(label="LOT-1", mass=parse_amount(kilograms, "kg"), by=by, occurred_at=NOW)


def mix_lot(by: Actor) -> list[Job]:
    """Three jobs with 100 m each of 50 g/m: the first two the company's, the last the customer's."""
    set_core_mass(cable_size=make_size(), grams_per_m=50.0, source="ten metres on the yard's scale")
    jobs = []
    for reference in ("J-1", "J-2", "J-3"):
        span = span_of(reference)
        put(by, span, "100")
        jobs.append(span.job)
    for job, owner in zip(jobs, (make_company(), make_company(), make_customer()), strict=True):
        set_scrap_terms(job=job, owner=owner)
    return jobs


def test_add_to_lot_expects_mass_by_size_and_length(by: Actor) -> None:
    part = put(by, span_of("J-1"), "400", "[ft_i]")
    # 47.0 g/m as shipped, over 121.92 m.
    assert (part.expected_g, part.grams_per_m) == (5730, 47.0)
    set_core_mass(cable_size=part.cable_size, grams_per_m=50.0, source="weighed")
    part.refresh_from_db()
    assert part.expected_g == 5730
    assert CoreMass.objects.get(cable_size=part.cable_size).is_measured


def test_add_to_lot_twice_adds_once(by: Actor) -> None:
    span, id = span_of("J-1"), uuid4()
    assert put(by, span, "10", id=id) == put(by, span, "10", id=id)
    with pytest.raises(DocumentConflict):
        put(by, span, "11", id=id)
    assert ScrapPart.objects.count() == 1


def test_add_to_lot_refuses_what_says_too_little(by: Actor) -> None:
    span, other = span_of("J-1"), span_of("J-2")
    with pytest.raises(BadInput, match="no span of J-2"):
        put(by, span, "10", job=other.job)
    with pytest.raises(BadInput, match="more than nothing"):
        put(by, span, "0")
    with pytest.raises(WrongDimension):
        put(by, span, "10", "kg")
    with pytest.raises(BadInput, match="where no span is named"):
        add_to_lot(
            id=uuid4(), by=by, occurred_at=NOW, label="L", job=span.job, length=parse_amount("10", "m")
        )
    with pytest.raises(BadInput, match="label of the lot"):
        put(by, span, "10", label=" ")
    assert not ScrapLot.objects.exists()


@pytest.mark.outside_check(
    "largest remainder: 10 000 g over three equal weights are 3334, 3333, 3333 (Hamilton); "
    "how known: computed"
)
def test_weigh_lot_splits_to_the_gram(by: Actor) -> None:
    jobs = mix_lot(by)
    weigh(by)
    rows = ScrapShare.objects.order_by("job").values_list("job", "expected_g", "weighed_g")
    assert list(rows) == [(jobs[0].pk, 5000, 3334), (jobs[1].pk, 5000, 3333), (jobs[2].pk, 5000, 3333)]


def test_weigh_lot_needs_every_owner(by: Actor) -> None:
    put(by, span_of("J-1"), "100")
    with pytest.raises(ScrapOwnerUnknown, match="core of J-1 is"):
        weigh(by)
    assert ScrapLot.objects.get().state == "gathered"
    assert not ScrapShare.objects.exists()


def test_weigh_lot_twice_and_with_other_figures(by: Actor) -> None:
    mix_lot(by)
    weigh(by)
    weigh(by)
    with pytest.raises(LotClosed, match="with other figures"):
        weigh(by, "11")
    with pytest.raises(LotClosed, match="Begin another one"):
        put(by, span_of("J-4"), "1")
    assert ScrapShare.objects.count() == 3


def test_sell_lot_credits_the_companys_jobs_and_owes_the_rest(by: Actor) -> None:
    jobs = mix_lot(by)
    sale = {
        "label": "LOT-1",
        "buyer": "Metal yard (invented)",
        "proceeds": 10_000_000,
        "by": by,
        "occurred_at": NOW,
    }
    with pytest.raises(WorkRefused, match="not weighed"):
        sell_lot(**sale)
    weigh(by)
    for _time in range(2):
        sell_lot(**sale)
    with pytest.raises(LotClosed):
        sell_lot(**{**sale, "proceeds": 9_000_000})
    assert sum(ScrapShare.objects.values_list("proceeds", flat=True)) == 10_000_000
    assert [(get_job_scrap(job).credited, get_job_scrap(job).owed) for job in jobs] == [
        (3_333_334, 0),
        (3_333_333, 0),
        (0, 3_333_333),
    ]


def test_sell_lot_refuses_bad_figures(by: Actor) -> None:
    mix_lot(by)
    weigh(by)
    with pytest.raises(BadInput) as refusal:
        sell_lot(label="LOT-1", buyer="", proceeds=-1, by=by, occurred_at=NOW)
    assert [fault.pointer for fault in refusal.value.faults] == ["/buyer", "/proceeds"]
    with pytest.raises(BadInput, match="no lot of scrap"):
        sell_lot(label="X", buyer="B", proceeds=1, by=by, occurred_at=NOW)


def test_get_job_scrap_expects_the_core_of_extracted_spans_as_found(by: Actor) -> None:
    span = span_of("J-1", feet=400)
    assert get_job_scrap(span.job).expected_g == 0
    Span.objects.filter(pk=span.pk).update(extracted_at=NOW, as_found_length_um=100_000_000)
    put(by, span, "60")
    found = get_job_scrap(span.job)
    assert (found.expected_g, found.in_lots_g, found.weighed_g) == (4700, 2820, 0)
    CoreMass.objects.all().delete()
    assert get_job_scrap(span.job).unknown_sizes == (".500",)


def test_set_core_mass_refuses_nothing_and_no_source() -> None:
    with pytest.raises(BadInput) as refusal:
        set_core_mass(cable_size=make_size(), grams_per_m=0.0, source=" ")
    assert [fault.pointer for fault in refusal.value.faults] == ["/grams_per_m", "/source"]
