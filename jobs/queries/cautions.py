"""The usual cautions, shown wherever the work they belong to is planned. They never permit anything."""

from collections.abc import Collection, Iterable
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from inventory.models import Container, Material
from inventory.queries.fluid_cautions import list_hazards, list_held_cautions, list_waste_cautions
from inventory.units import format_amount
from jobs.models import CableSize, CrewDayStep, EstimatingPolicy, PressureLimit, Span
from jobs.queries.check_lists import list_vaults
from jobs.queries.day_work import DayWork
from jobs.queries.kit_stock import StockItem
from jobs.queries.pressure_limits import NO_LIMIT, PURPOSE_OF_STEP

Step = CrewDayStep.Kind

ALWAYS = (
    gettext_noop("Eye protection for everyone at the work. Safety data sheets are at hand."),
    gettext_noop("Local codes and licensed practice come first; this sheet permits no pressure."),
)
LIMIT = gettext_noop("Pressure, for {purpose}: the approved limit is {pressure}, that of {weakest_part}.")
NO_LIMIT_APPROVED = gettext_noop(
    "Pressure, for {purpose}: {no_limit}. Ask safety; the weakest hose or fitting counts."
)
EXTRACTION = (
    gettext_noop(
        "Check that the plant is de-energised before touching it (60 or 90 V AC on trunk and feeder)."
    ),
    gettext_noop("Never feel for a leak by hand: fluid injected under the skin is a hospital emergency."),
    gettext_noop("Vent before opening anything. Secure the cable end so that it cannot kink or whip."),
    gettext_noop("Catcher and exclusion zone where the core comes out."),
    gettext_noop("Full drums are never lifted by hand. Nothing goes into a drain."),
)
AIR = (
    gettext_noop(
        "Air behind a projectile stores far more energy than liquid: "
        "catcher and exclusion zone at the far end."
    ),
    gettext_noop("A blocked run is vented at both ends before anyone approaches."),
)
VAULT = gettext_noop("Test the air before entering a vault: {names}.")
WEAK_SIZE = gettext_noop(
    "The bore of {size} is a {confidence} nominal value: measure before relying on amounts."
)


def list_cautions(work: DayWork, policy: EstimatingPolicy, standing: dict[str, PressureLimit]) -> list[str]:
    """What belongs to this day's steps, in the order of work, then the company's own."""
    kinds = {step.kind for step in work.steps}
    found = [_(sentence) for sentence in ALWAYS]
    found += _limits(kinds, standing)
    if Step.EXTRACT in kinds:
        found += [_(sentence) for sentence in EXTRACTION]
    if kinds & {Step.CLEAN, Step.BLOW}:
        found += [_(sentence) for sentence in AIR]
    vaults = list_vaults(work)
    if vaults:
        found.append(_(VAULT).format(names=", ".join(vaults)))
    found += [
        _(WEAK_SIZE).format(size=size, confidence=_(size.confidence))
        for size in _sizes(work)
        if size.measured_bore_mm is None and size.confidence != CableSize.Confidence.SOUND
    ]
    return found + [str(caution) for caution in policy.cautions]


def list_carried_cautions(
    codes: Collection[str], aboard: Iterable[StockItem], hazardous: Iterable[Material]
) -> list[str]:
    """What belongs to the goods themselves: hazardous ones by name, what is held back, waste on the truck."""
    on_truck = [item for item in aboard if item.container is not None]
    held = [item for item in on_truck if _is(item, state=Container.State.HELD)]
    spent = [item for item in on_truck if _is(item, contents_state=Container.ContentsState.SPENT)]
    there = set(codes) | {item.material.code for item in on_truck}
    found = list_hazards(material for material in hazardous if material.code in there)
    found += list_held_cautions(_labels(held))
    return found + (list_waste_cautions(()) if spent else [])


def _is(item: StockItem, **fields: str) -> bool:
    return all(getattr(item.container, name) == value for name, value in fields.items())


def _labels(items: Iterable[StockItem]) -> list[str]:
    return sorted({item.container.label for item in items if item.container is not None})


def _limits(kinds: set[str], standing: dict[str, PressureLimit]) -> list[str]:
    """The approved pressure of each kind of work on the day, in the order of work, or that there is none."""
    if not kinds:
        return []
    return [
        _say_limit(purpose, standing.get(purpose))
        for kind, purpose in PURPOSE_OF_STEP.items()
        if kind in kinds
    ]


def _say_limit(purpose: str, limit: PressureLimit | None) -> str:
    label = _(PressureLimit.Purpose(purpose).label)
    if limit is None:
        return _(NO_LIMIT_APPROVED).format(purpose=label, no_limit=_(NO_LIMIT))
    pressure = format_amount(Decimal(limit.entered_value), limit.entered_unit)
    return _(LIMIT).format(purpose=label, pressure=pressure, weakest_part=limit.weakest_part)


def _spans(work: DayWork) -> list[Span]:
    of_runs = [span for spans in work.spans_by_run.values() for span in spans]
    return work.extracted_spans + of_runs


def _sizes(work: DayWork) -> list[CableSize]:
    return list(dict.fromkeys(span.found_size for span in _spans(work)))
