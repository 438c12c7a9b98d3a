"""What was read in containers, as rows: amounts at the reference temperature, with their uncertainty."""

from inventory.errors import Fault
from inventory.models import Container, Material
from inventory.services.measuring import BadReading, Measured, UnknownVessel, measure
from inventory.units import naming_the_amount, parse_amount
from jobs.models import ContainerReading, FieldReport
from jobs.services.reports.content import ReadingContent, ReportContent
from jobs.services.reports.gaps import Gap, note_in_report
from jobs.services.reports.names import Names, find_usual_fluid
from jobs.services.reports.told_amounts import read_some


def make_readings(
    content: ReportContent,
    *,
    report: FieldReport,
    names: Names,
    caught: dict[int, Material],
    gaps: list[Gap],
) -> list[ContainerReading]:
    """The readings of a report, unsaved. `caught` is what came into containers, by their keys.

    One that tells no amount, because nobody knows what its container weighs or holds, goes to the report's
    note and to `gaps`. The same reading again is the same one.

    Raises
    ------
    BadReading
        If something is read twice and otherwise, or cannot be read.
    """
    found: list[ContainerReading] = []
    seen: dict[tuple[str, str], ReadingContent] = {}
    for number, row in enumerate(content.readings):
        pointer = f"/readings/{number}"
        known = seen.setdefault((row.container, row.moment), row)
        if known is not row:
            if known == row:
                continue
            message = "is read twice and otherwise; give one reading"
            raise BadReading.of([Fault(pointer, row.container, message)])
        box = names.containers[row.container]
        material = caught.get(box.pk) or names.contents.get(box.pk) or box.material or find_usual_fluid(names)
        if material is None:
            _note_unknown(report, row, box, "it is for no fluid on record; say what it is for", gaps)
            continue
        if not box.stands_somewhere:
            message = "is not something whose contents can be read"
            raise BadReading.of([Fault(f"{pointer}/container", str(box), message)])
        try:
            measured = _measure_reading(row, box, material, names, pointer)
        except UnknownVessel as unknown:
            _note_unknown(report, row, box, f"it {unknown.faults[0].message}", gaps)
            continue
        instrument = names.instruments.get(row.instrument)
        found.append(
            ContainerReading(
                report=report,
                container=box,
                moment=row.moment,
                material=material,
                method=row.method,
                value=f"{row.value:f}" if row.value is not None else "",
                unit=_unit_of(row),
                temperature_c=row.temperature_c,
                instrument=instrument.instrument if instrument else None,
                # A drum that weighs less than its tare holds nothing.
                amount=max(measured.amount, 0),
                standard_uncertainty=measured.standard_uncertainty,
            )
        )
    return found


def _measure_reading(
    row: ReadingContent, box: Container, material: Material, names: Names, pointer: str
) -> Measured:
    if material.kind != Material.Kind.FLUID:
        return _measure_length(row, material, pointer)
    return measure(
        material=material,
        method=row.method,
        value=row.value,
        unit=_unit_of(row),
        container=box,
        temperature_c=row.temperature_c,
        instrument=names.instruments.get(row.instrument),
        reference_temperature_c=names.company.reference_temperature_c,
        pointer=pointer,
    )


def _note_unknown(
    report: FieldReport, row: ReadingContent, box: Container, reason: str, gaps: list[Gap]
) -> None:
    """Keep a reading as it was read; what is in the container stays what the book has."""
    read = " ".join(filter(None, (row.method, "" if row.value is None else f"{row.value:f}", row.unit)))
    gaps.append(Gap(f"read as {read}", reason, False, container=box))
    note_in_report(report, f"{row.container} read as {read}: {reason}")


def _unit_of(row: ReadingContent) -> str:
    return row.unit or ("1" if row.method == ContainerReading.Method.QUARTERS else "")


def _measure_length(row: ReadingContent, material: Material, pointer: str) -> Measured:
    """What is left on a reel: a length, or nothing."""
    if row.method == ContainerReading.Method.EMPTY:
        return Measured(0, 0.0)
    if row.method != ContainerReading.Method.METERED or row.value is None:
        message = "tells nothing of a reel; give the length left as metered, or empty"
        raise BadReading.of([Fault(f"{pointer}/method", row.method, message)])
    with naming_the_amount(f"{pointer}/value", f"{row.value} {row.unit}"):
        amount = parse_amount(row.value, row.unit, dimension="length")
    if not amount.value:
        return Measured(0, 0.0)
    return Measured(read_some(amount, material, f"{pointer}/value"), 0.0)
