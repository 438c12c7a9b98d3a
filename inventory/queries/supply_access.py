"""Who may see and change orders, receipts, shipments and counts: the only way in which doors get at them.

Each lies in a warehouse and is seen by who sees into that. Whoever may make an entry of the kind that comes
of it may also plan it.
"""

from uuid import UUID

from django.db.models import Q, QuerySet

from inventory.errors import NotFound
from inventory.models import (
    CountPlan,
    CountSheet,
    Entry,
    HeldOutcome,
    Order,
    OrderLine,
    Party,
    Place,
    Receipt,
    ReceivedLine,
    Shipment,
    SupplyTerms,
)
from inventory.queries.access import NotAllowed, Viewer, lies_within, require_may_post
from inventory.queries.prices import with_breaks

Kind = Entry.Kind


def visible_terms(viewer: Viewer) -> QuerySet[SupplyTerms]:
    """Everybody's terms: who sells what is no secret, what it costs is withheld where it is written out."""
    return with_breaks(SupplyTerms.objects.select_related("material", "supplier"))


def visible_suppliers(viewer: Viewer) -> QuerySet[Party]:
    """Everybody's, as their terms are."""
    return Party.objects.filter(is_supplier=True).select_related("order_terms")


def visible_credits(viewer: Viewer) -> QuerySet[HeldOutcome]:
    """Goods sent back, each with the credit that is expected or has come; undone ones are left out."""
    rows = HeldOutcome.objects.filter(
        received_line__receipt__in=visible_receipts(viewer),
        outcome=HeldOutcome.Outcome.SENT_BACK,
        entry__reversed_by__isnull=True,
    )
    return rows.select_related("credit", "received_line__material", "received_line__receipt__supplier")


def visible_orders(viewer: Viewer) -> QuerySet[Order]:
    return Order.objects.filter(lies_within(viewer.places, "place")).select_related(
        "supplier", "place", "written_by", "sent_by"
    )


def visible_receipts(viewer: Viewer) -> QuerySet[Receipt]:
    rows = Receipt.objects.filter(lies_within(viewer.places, "place"))
    return rows.select_related("supplier", "place", "entry__reversed_by", "by")


def visible_held_lines(viewer: Viewer) -> QuerySet[ReceivedLine]:
    """Lines of receipts that were held back, decided on or not."""
    rows = ReceivedLine.objects.filter(receipt__in=visible_receipts(viewer))
    return rows.exclude(finding=ReceivedLine.Finding.SOUND)


def visible_shipments(viewer: Viewer) -> QuerySet[Shipment]:
    """Shipments of which the viewer sees one end."""
    ends = lies_within(viewer.places, "source") | lies_within(viewer.places, "target")
    found = Q() if viewer.places is None else ends
    return Shipment.objects.filter(found).select_related("source", "target", "transit", "sent_by")


def visible_count_plans(viewer: Viewer) -> QuerySet[CountPlan]:
    return CountPlan.objects.filter(lies_within(viewer.places, "place")).select_related("place")


def visible_count_sheets(viewer: Viewer) -> QuerySet[CountSheet]:
    rows = CountSheet.objects.filter(lies_within(viewer.places, "place"))
    return rows.select_related("place", "made_by", "closed_by")


def get_order(viewer: Viewer, reference: str) -> Order:
    order = visible_orders(viewer).filter(reference=reference).first()
    if order is None:
        raise NotFound("There is no order of that reference.")
    return order


def find_order_line(viewer: Viewer, reference: str, position: int) -> OrderLine | None:
    rows = OrderLine.objects.filter(order__in=visible_orders(viewer)).select_related("order", "material")
    return rows.filter(order__reference=reference, position=position).first()


def get_receipt(viewer: Viewer, uuid: UUID | None) -> Receipt:
    receipt = visible_receipts(viewer).filter(uuid=uuid).first() if uuid else None
    if receipt is None:
        raise NotFound("There is no receipt of that id.")
    return receipt


def get_credit(viewer: Viewer, uuid: UUID | None) -> HeldOutcome:
    outcome = visible_credits(viewer).filter(uuid=uuid).first() if uuid else None
    if outcome is None:
        raise NotFound("No goods were sent back under that id.")
    return outcome


def get_shipment(viewer: Viewer, reference: str) -> Shipment:
    shipment = visible_shipments(viewer).filter(reference=reference).first()
    if shipment is None:
        raise NotFound("There is no shipment of that reference.")
    return shipment


def get_count_plan(viewer: Viewer, place_code: str) -> CountPlan:
    plan = visible_count_plans(viewer).filter(place__code=place_code).first()
    if plan is None:
        raise NotFound("There is no count plan for a place of that code.")
    return plan


def get_count_sheet(viewer: Viewer, reference: str) -> CountSheet:
    sheet = visible_count_sheets(viewer).filter(reference=reference).first()
    if sheet is None:
        raise NotFound("There is no count sheet of that reference.")
    return sheet


def require_may_buy(viewer: Viewer, place: Place | None = None) -> None:
    """Refuse whoever may not take goods in at the place."""
    require_may_post(viewer, Kind.RECEIPT, [(None, place)])


def require_sees_restock(viewer: Viewer) -> None:
    """What the company is to buy is for who sees all its places; a crew sees its own truck."""
    if viewer.places is not None:
        raise NotAllowed("The restock list is the whole company's; your role sees its own places only.")


def require_may_restock(viewer: Viewer, place: Place | None) -> None:
    """Refuse to write orders from the list for a warehouse that somebody else answers for."""
    require_sees_restock(viewer)
    require_may_buy(viewer, place)


def require_may_send(viewer: Viewer, source: Place) -> None:
    require_may_post(viewer, Kind.TRANSFER, [(source, None)])


def require_may_unload(viewer: Viewer, target: Place) -> None:
    require_may_post(viewer, Kind.TRANSFER, [(None, target)])


def require_may_count(viewer: Viewer, place: Place) -> None:
    require_may_post(viewer, Kind.COUNT, [(None, place)])
