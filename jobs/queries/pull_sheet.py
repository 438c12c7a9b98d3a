"""The kit of a crew-day: what the steps need, less what is on the truck, and where to get the rest.

Computed from the database each time it is asked for; nothing is promised or stored here.
"""

from dataclasses import dataclass, field
from datetime import date

from inventory.queries.company import get_company_party
from inventory.units import convert, format_amount, format_millionths
from jobs.models import CrewDay, CrewDayStep, Span
from jobs.queries.catalogue import Catalogue, load_catalogue
from jobs.queries.cautions import list_cautions
from jobs.queries.day_needs import DayNeeds, Need, compute_day_needs, show_m3, to_millionths_of
from jobs.queries.day_work import DayWork, job_of, load_day_work
from jobs.queries.jobs import get_crew_day, get_policy
from jobs.queries.kit_reels import allot_reels
from jobs.queries.kit_sharing import SharedOut, explain_given_away, list_days_before, say_given_away
from jobs.queries.kit_stock import (
    KitStock,
    Pick,
    choose_empties,
    empty_pick,
    load_kit_stocks,
    take_pieces,
    take_vessels,
    to_unit,
)

UM_PER_M = 1_000_000


@dataclass(frozen=True)
class SheetStep:
    """One step in the order of work, as a person reads it."""

    position: int
    kind: str
    title: str
    detail: str
    job: str
    is_stopped: bool


@dataclass(frozen=True)
class SheetLine:
    """One thing the kit needs. Quantities in millionths of `unit`, a UCUM code; 1 for pieces.

    `to_take` is what is needed beyond what is on the truck, `short` what no pick covers.
    """

    section: str
    title: str
    material_code: str
    owner_code: str
    unit: str
    needed: int
    on_truck: int
    to_take: int
    short: int
    picks: list[Pick]
    why: str
    first_position: int


@dataclass(frozen=True)
class PlannedCrewDay:
    """One crew's day with the steps that are still to be done."""

    crew_code: str
    crew_name: str
    date: date
    vehicle: str
    warehouse: str
    state: str
    steps: list[SheetStep]


@dataclass(frozen=True)
class PullSheet(PlannedCrewDay):
    """A crew's day and everything that it takes along, in the order of work."""

    lines: list[SheetLine]
    cautions: list[str]
    remarks: list[str] = field(default_factory=list)

    @property
    def shortages(self) -> list[SheetLine]:
        return [line for line in self.lines if line.short > 0]


def get_pull_sheet(*, crew_code: str, date: date) -> PullSheet:
    """The kit of a crew for a day."""
    return make_pull_sheet(get_crew_day(crew_code=crew_code, date=date))


def make_pull_sheet(day: CrewDay) -> PullSheet:
    """The kit of a crew-day that comes with its crew, vehicle and warehouse.

    Crews of the same warehouse and day whose codes come first are served first.
    """
    days = [*list_days_before(day), day]
    works = load_day_work(days)
    catalogue = load_catalogue(get_policy(), get_company_party())
    shared = SharedOut()
    lines: list[SheetLine] = []
    for work, stock in zip(works, load_kit_stocks(days), strict=True):
        shared.withhold(stock)
        vessels = list(stock.warehouse_vessels)
        lines = _serve(compute_day_needs(work, catalogue=catalogue), stock, catalogue)
        shared.note(stock, vessels)
    work = works[-1]
    return PullSheet(
        crew_code=day.crew.code,
        crew_name=day.crew.name,
        date=day.date,
        vehicle=day.vehicle.name,
        warehouse=day.warehouse.name,
        state=day.state,
        steps=list_steps(work),
        lines=sorted(lines, key=lambda line: line.first_position),
        cautions=list_cautions(work, catalogue.policy),
        remarks=_list_remarks(work),
    )


def _serve(needs: DayNeeds, stock: KitStock, catalogue: Catalogue) -> list[SheetLine]:
    lines = []
    for need in needs.needs:
        if need.section == "fluid":
            lines.append(_serve_fluid(need, stock, catalogue))
        elif need.section != "fibre":
            lines.append(_serve_pieces(need, stock))
    lines += _serve_catch(needs, stock, catalogue)
    fibre = [need for need in needs.needs if need.section == "fibre"]
    for allotment in allot_reels(fibre, stock, catalogue.policy.largest_fill_ratio):
        need = allotment.need
        lines.append(
            _line(
                need,
                on_truck=need.quantity if allotment.is_on_truck else 0,
                got=need.quantity if allotment.picks and not allotment.is_on_truck else 0,
                picks=allotment.picks,
                why=f"{need.why} {allotment.why}"
                + ("" if allotment.picks else explain_given_away(need, stock, set())),
            )
        )
    return lines


def _serve_fluid(need: Need, stock: KitStock, catalogue: Catalogue) -> SheetLine:
    recovered = catalogue.recovered_forms(need.material) if need.material else []
    on_truck = sum(
        to_unit(item.usable, item.material.stock_unit, need.unit)
        for item in stock.fluids(stock.truck, need, recovered)
    )
    missing = max(need.quantity - on_truck, 0)
    picks, got = take_vessels(stock.fluids(stock.warehouse, need, recovered), need.unit, missing)
    forms = {material.pk for material in recovered}
    why = need.why + (explain_given_away(need, stock, forms) if got < missing else "")
    return _line(need, on_truck=on_truck, got=got, picks=picks, why=why)


def _serve_pieces(need: Need, stock: KitStock) -> SheetLine:
    # Taken there too, so that two needs of one material are not served by the same pieces.
    _there, on_truck = take_pieces(stock.pieces(stock.truck, need), need.quantity)
    picks, got = take_pieces(stock.pieces(stock.warehouse, need), need.quantity - on_truck)
    is_short = on_truck + got < need.quantity
    why = need.why + (explain_given_away(need, stock, set()) if is_short else "")
    return _line(need, on_truck=on_truck, got=got, picks=picks, why=why)


def _line(need: Need, *, on_truck: int, got: int, picks: list[Pick], why: str = "") -> SheetLine:
    to_take = max(need.quantity - on_truck, 0)
    return SheetLine(
        section=need.section,
        title=need.title,
        material_code=need.material.code if need.material else "",
        owner_code=need.owner.code if need.owner else "",
        unit=need.unit,
        needed=need.quantity,
        on_truck=on_truck,
        to_take=to_take,
        short=max(to_take - got, 0),
        picks=picks,
        why=why or need.why,
        first_position=need.first_position,
    )


def _serve_catch(needs: DayNeeds, stock: KitStock, catalogue: Catalogue) -> list[SheetLine]:
    """Empty vessels for what comes out, bypass and swept fluid kept apart."""
    fluid, work = needs.fluid, needs.work
    if fluid is None:
        return []
    material = catalogue.fluid()
    lines = []
    quantile = f"{catalogue.policy.quantile * 100:g} of 100"
    for section, title, m3, kind, said in (
        (
            "catch",
            "Clean empty vessels for bypass",
            fluid.caught_m3,
            CrewDayStep.Kind.EXTRACT,
            "caught at the exit end",
        ),
        (
            "sweep",
            "Clean empty vessels for swept fluid",
            fluid.swept_m3,
            CrewDayStep.Kind.CLEAN,
            "swept out of the bore",
        ),
    ):
        steps = work.steps_of(kind)
        if m3 > 0 and steps:
            unit = material.stock_unit if material else "[gal_us]"
            why = (
                f"No more than {show_m3(m3, unit)} is {said} on {quantile} days; vessels are filled to "
                f"{catalogue.policy.catch_fill_limit:.0%} and kept apart from other fluid."
            )
            quantity = to_millionths_of(unit, m3)
            lines.append(
                _vessel_line(section, title, unit, quantity, steps[0].position, why, stock, catalogue)
            )
    return lines


def _vessel_line(
    section: str,
    title: str,
    unit: str,
    quantity: int,
    position: int,
    why: str,
    stock: KitStock,
    catalogue: Catalogue,
) -> SheetLine:
    limit = catalogue.policy.catch_fill_limit
    there, on_truck = choose_empties(stock.truck_vessels, unit, quantity, limit)
    more, got = choose_empties(stock.warehouse_vessels, unit, quantity - on_truck, limit)
    labels = ", ".join(vessel.label for vessel in there)
    if on_truck + got < quantity:
        why += say_given_away([vessel.label for vessel in stock.given_vessels])
    return SheetLine(
        section=section,
        title=title,
        material_code="",
        owner_code="",
        unit=unit,
        needed=quantity,
        on_truck=on_truck,
        to_take=max(quantity - on_truck, 0),
        short=max(quantity - on_truck - got, 0),
        picks=[empty_pick(vessel, unit, limit) for vessel in more],
        why=f"{why} On the truck: {labels}." if labels else why,
        first_position=position,
    )


def list_steps(work: DayWork) -> list[SheetStep]:
    """The steps of a day as people read them, those that are not to be done among them."""
    stopped = {step.pk for step in work.stopped}
    every = sorted([*work.steps, *work.stopped], key=lambda step: step.position)
    return [_make_step(step, work, is_stopped=step.pk in stopped) for step in every]


def _make_step(step: CrewDayStep, work: DayWork, *, is_stopped: bool) -> SheetStep:
    job = job_of(step)
    if step.span is not None:
        title, detail = f"Extract span {step.span}", _show_span(step.span)
    else:
        assert step.run is not None
        verb = "Clean" if step.kind == CrewDayStep.Kind.CLEAN else "Blow"
        title, detail = f"{verb} run {step.run}", _show_run(work.spans_of(step.run))
    if is_stopped:
        detail = f"not to be done: {work.why_stopped(step)}"
    return SheetStep(step.position, step.kind, title, detail, job.reference, is_stopped)


def _show_span(span: Span) -> str:
    parts = [
        f"{_show_point(span.near)} to {_show_point(span.far)}",
        str(span.found_size),
        _show_length(span.found_length_um, span.entered_unit),
    ]
    if span.bends:
        parts.append(f"{span.bends} {'bend' if span.bends == 1 else 'bends'}")
    return ", ".join(parts)


def _show_run(spans: list[Span]) -> str:
    if not spans:
        return "no spans left in this run"
    length = _show_length(sum(span.found_length_um for span in spans), spans[0].entered_unit)
    count = "1 span" if len(spans) == 1 else f"{len(spans)} spans"
    ends = f"{_show_point(spans[0].near)} to {_show_point(spans[-1].far)}"
    return f"{ends}, {spans[0].found_size}, {count}, {length}"


def _show_point(point: object) -> str:
    kind = getattr(point, "kind", "")
    return f"{kind} {point}" if kind else str(point)


def _show_length(length_um: int, unit: str) -> str:
    return format_amount(convert(length_um / UM_PER_M, "m", unit), unit)


def _list_remarks(work: DayWork) -> list[str]:
    """What about the plan itself somebody should look at."""
    found = []
    if not work.steps and not work.stopped:
        found.append("Everything planned for this day is done.")
    for step in work.steps:
        spans = work.spans_of(step.run) if step.run is not None else []
        today = {span.pk for span in work.extracted_spans}
        waiting = [span.name for span in spans if not span.is_extracted and span.pk not in today]
        if step.kind == CrewDayStep.Kind.CLEAN and waiting:
            found.append(f"Run {step.run} is to be cleaned; not yet extracted: {', '.join(waiting)}.")
    return found


def show_quantity(millionths: int, unit: str) -> str:
    """As people write it; pieces without a unit."""
    shown = format_millionths(millionths, unit)
    return shown.removesuffix(" each")
