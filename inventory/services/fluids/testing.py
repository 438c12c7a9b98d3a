"""Samples of recovered fluid, measured against the limits that the company has approved."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from uuid import UUID

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, FluidLimit, FluidTest, FluidTestResult
from inventory.services.fluids.contents import (
    change_contents,
    get_recovered_contents,
    require_state,
    was_taken,
)
from inventory.services.posting import EntryConflict

State = Container.ContentsState
TESTABLE = (State.CAUGHT, State.STRAINED, State.TESTED, State.FIT)


@dataclass(frozen=True)
class Measured:
    """One property as it was measured."""

    name: str
    value: float
    unit: str = ""


@transaction.atomic
def record_test(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    container: Container,
    results: Sequence[Measured],
    document: str = "",
    note: str = "",
) -> FluidTest:
    """Keep what was measured, beside the limits that hold now; the contents are tested from then on.

    A test passes nothing: `release_tested` does, where every limit is kept.
    """
    if was_taken(by, id):
        return _get_again(id, container, results)
    _check_results(results)
    material = get_recovered_contents(container)
    require_state(container, TESTABLE, "tested")
    limits = {row.measured: row for row in FluidLimit.objects.filter(material=material, withdrawn_at=None)}
    _check_units(results, limits)
    entry = change_contents(
        id=id,
        by=by,
        occurred_at=occurred_at,
        containers=[container],
        contents_state=State.TESTED,
        reason=note or "tested",
        document=document,
    )
    test = FluidTest.objects.create(
        uuid=id,
        container=container,
        material=material,
        entry=entry,
        tested_at=occurred_at,
        by=by,
        document=document,
        note=note,
    )
    FluidTestResult.objects.bulk_create([_make_result(test, row, limits.get(row.name)) for row in results])
    return test


def _make_result(test: FluidTest, row: Measured, limit: FluidLimit | None) -> FluidTestResult:
    return FluidTestResult(
        test=test,
        measured=row.name,
        unit=row.unit,
        value=row.value,
        lowest=limit.lowest if limit else None,
        highest=limit.highest if limit else None,
    )


def _get_again(id: UUID, container: Container, results: Sequence[Measured]) -> FluidTest:
    """The test that was recorded under this id, if it is this one."""
    test = FluidTest.objects.filter(uuid=id, container=container).first()
    told = {(row.name, row.value, row.unit) for row in results}
    if test is None or told != set(test.results.values_list("measured", "value", "unit")):
        raise EntryConflict(f"The id {id} was used for something else. Use a new one.")
    return test


def _check_results(results: Sequence[Measured]) -> None:
    faults = []
    if not results:
        faults.append(Fault("/results", "", "must hold at least one measured property"))
    seen: set[str] = set()
    for number, row in enumerate(results):
        if not row.name.strip() or row.name in seen:
            message = "is named twice" if row.name in seen else "is needed: what was measured, such as pH"
            faults.append(Fault(f"/results/{number}/measured", row.name, message))
        if not isfinite(row.value):
            faults.append(Fault(f"/results/{number}/value", str(row.value), "must be a number"))
        seen.add(row.name)
    if faults:
        raise BadInput.of(faults)


def _check_units(results: Sequence[Measured], limits: dict[str, FluidLimit]) -> None:
    """A value in another unit than its limit's says nothing about the limit."""
    faults = [
        Fault(f"/results/{number}/unit", row.unit, f"must be {limits[row.name].unit or 'left out'}")
        for number, row in enumerate(results)
        if row.name in limits and row.unit != limits[row.name].unit
    ]
    if faults:
        raise BadInput.of(faults)
