"""What a day takes at the ends of its runs, and to protect the crew: seals, duct stubs, gloves."""

from collections.abc import Iterator

from inventory.units import MILLION, convert, format_amount
from jobs.models import CrewDayStep
from jobs.queries.catalogue import Catalogue
from jobs.queries.check_lists import is_occasion
from jobs.queries.day_work import DayWork
from jobs.queries.need import Need, count, group_by_size

Step = CrewDayStep.Kind
UNIT_OF_NO_DUCT = "m"


def need_extras(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    """Seals for the runs that are cleaned, duct stubs for those that are blown, protection for the day."""
    yield from _need_seals(work, catalogue)
    yield from _need_stubs(work, catalogue)
    yield from _need_protection(work, catalogue)


def _need_seals(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    each = catalogue.kit.seals_per_run
    for size, steps in group_by_size(work, Step.CLEAN).items() if each else ():
        material = catalogue.seal(size)
        yield Need(
            section="seal",
            title=material.name if material else f"Seal {size}",
            unit="1",
            quantity=each * len(steps) * MILLION,
            mean=each * len(steps) * MILLION,
            why=f"{count(len(steps), 'run')} of {size}, {each} each; they stay in place.",
            first_position=steps[0].position,
            material=material,
            owner=catalogue.company,
            cable_size=size,
        )


def _need_stubs(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    length_m = catalogue.kit.stub_m
    for size, steps in group_by_size(work, Step.BLOW).items() if length_m else ():
        material = catalogue.duct(size)
        unit = material.stock_unit if material else UNIT_OF_NO_DUCT
        exact = convert(round(length_m, 6), "m", unit)
        quantity = round(exact * MILLION) * 2 * len(steps)
        yield Need(
            section="duct",
            title=material.name if material else f"Duct stub {size}",
            unit=unit,
            quantity=quantity,
            mean=quantity,
            why=(
                f"{count(len(steps), 'run')} of {size}, a stub of {format_amount(exact, unit)} "
                "at either end; they stay in the plant."
            ),
            first_position=steps[0].position,
            material=material,
            owner=catalogue.company,
            cable_size=size,
        )


def _need_protection(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    """What protects the crew and is kept as stock; the rest of it is on the check list."""
    if not work.steps:
        return
    for item in catalogue.equipment:
        material = item.material
        if material is None or not is_occasion(item.occasion, work):
            continue
        unit = material.stock_unit
        yield Need(
            section="protective",
            title=material.name,
            unit=unit,
            quantity=item.pieces * MILLION,
            mean=item.pieces * MILLION,
            returned_material=material if material.is_reusable else None,
            returned=item.pieces * MILLION if material.is_reusable else 0,
            why=f"{item.name}: {item.pieces} for the crew, {item.get_occasion_display()}.",
            first_position=work.steps[0].position,
            material=material,
            owner=catalogue.company,
        )
