"""From a report's content to its rows of goods: what came back, pieces, waste and losses."""

from typing import TYPE_CHECKING

from inventory.models import Container, Material
from inventory.services.measuring import measure
from jobs.models import FluidCaught, PieceReport, ReportedLoss, Run, WasteHandover
from jobs.services.reports.content import CatchContent, ReportContent
from jobs.services.reports.gaps import Gap, note_in_report
from jobs.services.reports.names import Names, find_recovered_form, find_usual_fluid, load_spans_of_runs
from jobs.services.reports.told_amounts import as_entered, read_optional, read_some

if TYPE_CHECKING:
    from jobs.services.reports.rows import Told


def add_catch(row: CatchContent, number: int, told: "Told", names: Names) -> None:
    """Add what came into a container: as recovered fluid, else as the fluid itself where that has no form
    in which it comes back.
    """
    pointer, box = f"/caught/{number}", names.containers[row.container]
    material = _recovered_in(box, names)
    if material is None:
        material = _fluid_in(box, names)
        taken = f"taken as {material}" if material is not None else "no fluid is on record; put it on record"
        reason = f"{taken}, since no recovered fluid is on record for it"
        gap = Gap(f"{row.amount or 'fluid'} was {row.kind}", reason, material is not None, container=box)
        told.gaps.append(gap)
    if material is None:
        note_in_report(told.report, f"{row.amount or 'fluid'} {row.kind} into {box}; no fluid is on record")
        return
    measured = None
    if row.amount is not None:
        measured = measure(
            material=material,
            method="metered",
            value=row.amount.value,
            unit=row.amount.unit,
            reference_temperature_c=names.company.reference_temperature_c,
            pointer=f"{pointer}/amount",
        )
    told.caught_spans.append([names.spans[span] for span in dict.fromkeys(row.spans)])
    told.caught.append(
        FluidCaught(
            report=told.report,
            position=number,
            kind=row.kind,
            container=box,
            material=material,
            run=_run_of(row, box, told, names),
            amount=measured.amount if measured else None,
            standard_uncertainty=measured.standard_uncertainty if measured else None,
            **as_entered(row.amount),
        )
    )


def _run_of(row: CatchContent, box: Container, told: "Told", names: Names) -> Run | None:
    """The run that something was swept out of: named, or the only one that it can have been."""
    if row.run is not None or row.kind != FluidCaught.Kind.SWEPT:
        return names.runs[row.run] if row.run is not None else None
    runs = {each.run for each in told.cleanings} or {names.spans[span].run for span in row.spans}
    run = runs.pop() if len(runs) == 1 else None
    if run is not None and run.pk not in names.spans_of_runs:
        names.spans_of_runs.update(load_spans_of_runs([run.pk]))
    taken = f"run {run.name}" if run is not None else "out of the spans named, or those worked that day"
    reason = f"taken as {taken}" if run is not None else f"taken {taken}"
    told.gaps.append(Gap("which run was swept into it was not told", reason, True, container=box))
    return run


def _fluid_in(box: Container, names: Names) -> Material | None:
    """The fluid a container is likeliest to hold, where no recovered form of one is on record."""
    found = (names.contents.get(box.pk), box.material, find_usual_fluid(names))
    return next((each for each in found if each is not None and each.kind == Material.Kind.FLUID), None)


def _recovered_in(box: Container, names: Names) -> Material | None:
    """What came back into a container: its own recovered fluid, else that of the usual fluid."""
    inside = names.contents.get(box.pk)
    for material in (inside, box.material):
        if material is not None and material.recovered_from_id is not None:
            return material
    fresh = box.material if box.material is not None else find_usual_fluid(names)
    return find_recovered_form(names, fresh) if fresh is not None else None


def make_goods(told: "Told", content: ReportContent, names: Names) -> None:
    report = told.report
    told.pieces = [
        PieceReport(
            report=report,
            position=number,
            material=names.materials[row.material],
            quantity=read_some(row.amount, names.materials[row.material], f"/pieces/{number}/amount"),
            fate=row.fate,
            span=names.spans[row.span] if row.span is not None else None,
            run=names.runs[row.run] if row.run is not None else None,
            tag=row.tag,
            cause=row.cause,
        )
        for number, row in enumerate(content.pieces)
    ]
    for number, waste in enumerate(content.waste):
        box = names.containers[waste.container]
        material = names.contents.get(box.pk) or box.material or _recovered_in(box, names)
        material = material or find_usual_fluid(names)
        if material is None:
            reason = "nobody knows of what; say what the container is for and correct the report"
            handed = f"waste was handed over under manifest {waste.manifest_number}"
            told.gaps.append(Gap(handed, reason, False, container=box))
            note_in_report(report, f"{box}: {handed}, {waste.amount or 'all of it'}")
            continue
        if not waste.manifest_number.strip():
            reason = "the manifest's number was not told; find it and correct the report"
            told.gaps.append(Gap("waste was handed over", reason, True, container=box))
        told.waste.append(
            WasteHandover(
                report=report,
                position=number,
                manifest_number=waste.manifest_number,
                receiver=waste.receiver,
                container=box,
                material=material,
                amount=read_optional(waste.amount, material, f"/waste/{number}/amount"),
                **as_entered(waste.amount),
            )
        )
    told.losses = [
        ReportedLoss(
            report=report,
            position=number,
            material=names.materials[row.material],
            container=names.containers.get(row.container),
            amount=read_optional(row.amount, names.materials[row.material], f"/losses/{number}/amount"),
            cause=row.cause,
            span=names.spans[row.span] if row.span is not None else None,
            run=names.runs[row.run] if row.run is not None else None,
            is_contained=row.is_contained,
            liable_party=names.parties.get(row.liable_party),
            note=row.note,
            **as_entered(row.amount),
        )
        for number, row in enumerate(content.losses)
    ]
