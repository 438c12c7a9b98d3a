"""Serving what a day needs: from its truck first, then from the yard, and naming what is short."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from inventory.models import Material
from inventory.units import MILLION
from jobs.models import CrewDayStep
from jobs.queries.catalogue import Catalogue
from jobs.queries.day_needs import DayNeeds, show_m3, to_millionths_of
from jobs.queries.day_work import DayWork
from jobs.queries.kit_choosing import (
    choose_empties,
    choose_fluids,
    empty_pick,
    order_fluids,
    use_up,
    weigh_pick,
)
from jobs.queries.kit_reels import ReelAllotment, allot_reels
from jobs.queries.kit_sharing import explain_given_away, say_given_away
from jobs.queries.kit_stock import KitStock, Pick, StockItem, take_pieces, to_unit
from jobs.queries.kit_tags import TaggedChoices
from jobs.queries.making import Makings
from jobs.queries.need import Need, group_by_size
from jobs.queries.sheet_lines import SheetLine

Step = CrewDayStep.Kind


@dataclass(frozen=True)
class Supplies:
    """What serving asks besides the stock: materials and policies, recipes, tagged fittings."""

    catalogue: Catalogue
    makings: Makings
    tags: TaggedChoices


@dataclass
class Served:
    """The lines of one day's sheet, and what comes back to its truck: material, owner, millionths."""

    lines: list[SheetLine] = field(default_factory=list)
    back: list[tuple[Material, int, int]] = field(default_factory=list)


def serve_day(needs: DayNeeds, stock: KitStock, supplies: Supplies) -> Served:
    """Serve a day's needs, taking from its stock. The heaviest goes first, as long as the payload lasts."""
    served, catalogue = Served(), supplies.catalogue
    for need in needs.needs:
        if need.section == "fluid":
            served.lines.append(_serve_fluid(need, stock, catalogue))
    served.lines += _serve_catch(needs, stock, catalogue)
    served.lines += _serve_fibre(needs, stock, catalogue)
    for need in needs.needs:
        if need.section not in ("fluid", "fibre"):
            served.lines.append(_serve_pieces(need, needs.work, stock, supplies))
            served.back += _comes_back(need)
    return served


def _comes_back(need: Need) -> Iterable[tuple[Material, int, int]]:
    """Whole pieces that are on the truck again in the evening, for the crew's next day."""
    pieces = round(need.returned / MILLION) * MILLION
    if need.returned_material is not None and need.owner is not None and pieces:
        yield need.returned_material, need.owner.pk, pieces


def _serve_fluid(need: Need, stock: KitStock, catalogue: Catalogue) -> SheetLine:
    recovered = catalogue.recovered_forms(need.material) if need.material else []
    there = order_fluids(stock.fluids(stock.truck, need, recovered), catalogue.kit)
    on_truck = sum(to_unit(item.usable, item.material.stock_unit, need.unit) for item in there)
    offered = order_fluids(stock.fluids(stock.warehouse, need, recovered), catalogue.kit)
    chosen = choose_fluids(
        offered,
        unit=need.unit,
        missing=need.quantity - on_truck,
        stock=stock,
        policy=catalogue.kit,
    )
    use_up([*there, *(item for item in offered if item.taken)], need.quantity, need.unit)
    is_short = on_truck + chosen.got < need.quantity
    why = need.why
    if is_short:
        why += explain_given_away(need, stock, {material.pk for material in recovered})
        why += f" Too heavy for the truck: {'; '.join(chosen.left_behind)}." if chosen.left_behind else ""
    used = {item.container.label: item.gone_after for item in offered if item.container is not None}
    picks = [replace(pick, counted_on=max(used.get(pick.container, 0), 1)) for pick in chosen.picks]
    _weigh_in(stock, picks)
    return _line(
        need,
        on_truck=on_truck,
        got=chosen.got,
        picks=picks,
        why=why,
        there=_show_there(there, catalogue),
    )


def _show_there(items: list[StockItem], catalogue: Catalogue) -> list[Pick]:
    """What of a need lies on the truck, container by container; nothing is taken by that."""
    found = []
    for item in items:
        note = f"rolls on, still in {item.place}" if item.is_rolling else "on the truck"
        pick = replace(item, left=item.offered).take(item.offered, note)
        if item.is_rolling:
            pick = replace(pick, counted_on=item.gone_after)
        found.append(weigh_pick(pick, item, item.offered, catalogue.kit))
    return found


def _serve_pieces(need: Need, work: DayWork, stock: KitStock, supplies: Supplies) -> SheetLine:
    spans = len(group_by_size(work, Step.EXTRACT).get(need.cable_size, [])) if need.cable_size else 0
    chosen = supplies.tags.choose(need, work.crew_day, stock, spans) if spans else None
    if chosen is not None:
        need = replace(need, quantity=chosen.quantity)
    # Taken there too, so that two needs of one material are not served by the same pieces.
    on_board, shelf = stock.pieces(stock.truck, need), stock.pieces(stock.warehouse, need)
    limit = need.quantity if chosen is None else chosen.on_truck
    _there, on_truck = take_pieces(on_board, min(need.quantity, limit))
    limit = need.quantity if chosen is None else chosen.in_warehouse
    picks, got = take_pieces(shelf, min(need.quantity - on_truck, limit))
    why = need.why + (chosen.why if chosen else "")
    missing = need.quantity - on_truck - got
    making = supplies.makings.make(need, missing, stock) if missing > 0 else None
    made = making.made if making else 0
    if missing > made:
        why += explain_given_away(need, stock, set())
    if making is not None and made:
        picks, why = [*picks, *making.picks], f"{why} {making.why}"
    picks = [_weigh(pick, stock.warehouse, supplies.catalogue) for pick in picks]
    _weigh_in(stock, picks)
    line = _line(need, on_truck=on_truck, got=got + made, picks=picks, why=why)
    return replace(line, made=made, tags=chosen.tags if chosen else ())


def _weigh(pick: Pick, items: list[StockItem], catalogue: Catalogue) -> Pick:
    for item in items:
        label = item.container.label if item.container is not None else ""
        if (item.place.code, item.material.code, label) == (
            pick.place_code,
            pick.material_code,
            pick.container,
        ):
            return weigh_pick(pick, item, item.offered if item.goes_whole else pick.quantity, catalogue.kit)
    return pick


def _weigh_in(stock: KitStock, picks: Iterable[Pick]) -> None:
    if stock.payload_left_kg is not None:
        stock.payload_left_kg -= sum(pick.mass_kg or 0.0 for pick in picks)


def _serve_fibre(needs: DayNeeds, stock: KitStock, catalogue: Catalogue) -> Iterable[SheetLine]:
    fibre = [need for need in needs.needs if need.section == "fibre"]
    weighed: set[str] = set()
    for allotment in allot_reels(fibre, stock, catalogue.kit, catalogue.policy.largest_fill_ratio):
        need = allotment.need
        items = [*stock.truck, *stock.warehouse, *stock.elsewhere]
        picks = [_weigh(pick, items, catalogue) for pick in allotment.picks]
        if allotment.is_elsewhere:
            yield _line_of_reel_elsewhere(allotment, picks)
            continue
        if not allotment.is_on_truck:
            # One reel may serve several runs; it is carried once.
            _weigh_in(stock, [pick for pick in picks if pick.container not in weighed])
            weighed |= {pick.container for pick in picks}
        yield _line(
            need,
            on_truck=need.quantity if allotment.is_on_truck else 0,
            got=need.quantity if allotment.picks and not allotment.is_on_truck else 0,
            picks=picks,
            why=f"{need.why} {allotment.why}"
            + ("" if allotment.picks else explain_given_away(need, stock, set())),
        )


def _line_of_reel_elsewhere(allotment: ReelAllotment, picks: list[Pick]) -> SheetLine:
    """Short as long as nobody has brought the reel; it is named, so that somebody does."""
    line = _line(allotment.need, on_truck=0, got=0, picks=[], why=f"{allotment.need.why} {allotment.why}")
    named = [replace(pick, owner_code=line.owner_code) for pick in picks]
    asked = "; ".join(f"have reel {pick.container} brought from {pick.place}" for pick in named)
    return replace(line, elsewhere=named, help=f"{asked[0].upper()}{asked[1:]}.")


def _line(
    need: Need, *, on_truck: int, got: int, picks: list[Pick], why: str, there: list[Pick] | None = None
) -> SheetLine:
    to_take = max(need.quantity - on_truck, 0)
    owner = need.owner.code if need.owner else ""
    return SheetLine(
        section=need.section,
        title=need.title,
        material_code=need.material.code if need.material else "",
        owner_code=owner,
        unit=need.unit,
        needed=need.quantity,
        on_truck=on_truck,
        to_take=to_take,
        short=max(to_take - got, 0),
        picks=[
            replace(pick, owner_code=owner, counted_on=pick.counted_on or pick.quantity) for pick in picks
        ],
        why=why,
        first_position=need.first_position,
        there=[replace(pick, owner_code=owner) for pick in there or []],
    )


def _serve_catch(needs: DayNeeds, stock: KitStock, catalogue: Catalogue) -> Iterable[SheetLine]:
    """Empty vessels for what comes out, bypass and swept fluid kept apart."""
    fluid, policy = needs.fluid, catalogue.policy
    if fluid is None:
        return
    material = catalogue.fluid()
    unit = material.stock_unit if material else "[gal_us]"
    extract, clean = CrewDayStep.Kind.EXTRACT, CrewDayStep.Kind.CLEAN
    for section, title, m3, kind, said in (
        ("catch", "Clean empty vessels for bypass", fluid.caught_m3, extract, "caught at the exit end"),
        ("sweep", "Clean empty vessels for swept fluid", fluid.swept_m3, clean, "swept out of the bore"),
    ):
        steps = needs.work.steps_of(kind)
        if m3 <= 0 or not steps:
            continue
        why = (
            f"No more than {show_m3(m3, unit)} is {said} on {policy.quantile * 100:g} of 100 days; vessels "
            f"are filled to {policy.catch_fill_limit:.0%} and kept apart from other fluid."
        )
        need = Need(
            section=section,
            title=title,
            unit=unit,
            quantity=to_millionths_of(unit, m3),
            mean=0,
            why=why,
            first_position=steps[0].position,
        )
        yield _serve_vessels(need, stock, catalogue)


def _serve_vessels(need: Need, stock: KitStock, catalogue: Catalogue) -> SheetLine:
    limit = catalogue.policy.catch_fill_limit
    there, on_truck = choose_empties(stock.truck_vessels, need.unit, need.quantity, limit)
    more, got = choose_empties(stock.warehouse_vessels, need.unit, need.quantity - on_truck, limit)
    stock.filled_vessels |= {vessel.pk for vessel in [*there, *more]}
    why = need.why
    if on_truck + got < need.quantity:
        why += say_given_away([vessel.label for vessel in stock.given_vessels])
    picks = [empty_pick(vessel, need.unit, limit, catalogue.kit) for vessel in more]
    _weigh_in(stock, picks)
    return _line(
        need,
        on_truck=on_truck,
        got=got,
        picks=picks,
        why=why,
        there=[empty_pick(vessel, need.unit, limit, catalogue.kit) for vessel in there],
    )
