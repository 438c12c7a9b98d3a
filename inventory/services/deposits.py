"""Vessels that belong to their supplier until they are paid back: deposits, and empties going home."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Container, Deposit, DepositTerms, Entry, Holding, Party, Place
from inventory.queries.company import get_day
from inventory.services.posting import ContainerWish, Posting, post
from inventory.services.posting.special_places import get_special_place
from inventory.units import format_millionths


class NotEmpty(SpanstockError):
    """A vessel that goes back for its deposit still holds something."""

    code = "not_empty"


@transaction.atomic
def set_deposit_terms(*, supplier: Party, container_kind: str, amount: int) -> DepositTerms:
    """Say what a supplier charges for a vessel of a kind, in millionths of the currency."""
    if container_kind not in Container.Kind.values or container_kind == Container.Kind.LOT:
        raise BadInput.of([Fault("/container_kind", container_kind, "is no kind of vessel")])
    if amount <= 0:
        raise BadInput.of([Fault("/amount", str(amount), "must be more than nothing")])
    return DepositTerms.objects.update_or_create(
        supplier=supplier, container_kind=container_kind, defaults={"amount": amount}
    )[0]


@transaction.atomic
def charge_deposits(
    *,
    containers: Sequence[Container],
    supplier: Party,
    occurred_at: datetime,
    amount: int | None = None,
    document: str = "",
) -> list[Deposit]:
    """Note what was paid for vessels; without an amount what the supplier's terms say.

    A vessel whose deposit is open already keeps it, so that the same request again charges nothing.
    """
    terms = dict(DepositTerms.objects.filter(supplier=supplier).values_list("container_kind", "amount"))
    standing = {row.container_id: row for row in _open_deposits(containers)}
    faults, found = [], []
    for position, container in enumerate(containers):
        asked = amount if amount is not None else terms.get(container.kind)
        if container.pk in standing:
            found.append(standing[container.pk])
        elif asked is None or asked <= 0 or not container.stands_somewhere:
            message = f"has no deposit: {supplier} asks none for a {container.get_kind_display()}"
            faults.append(Fault(f"/containers/{position}", str(container), message))
        else:
            found.append(
                Deposit(
                    container=container,
                    supplier=supplier,
                    amount=asked,
                    paid_date=get_day(occurred_at),
                    paid_document=document,
                )
            )
    if faults:
        raise BadInput.of(faults)
    Deposit.objects.bulk_create([row for row in found if row.pk is None])
    return found


@transaction.atomic
def return_empties(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    containers: Sequence[Container],
    supplier: Party,
    refunds: Mapping[str, int] | None = None,
    source_place: Place | None = None,
    document: str = "",
    reason: str = "",
) -> Entry:
    """Send empty vessels back; `refunds` says by label what came back where that is not the deposit.

    What is not refunded stays a cost that `list_deposits` shows. A vessel without a deposit may go back too.

    Raises
    ------
    NotEmpty
        If a vessel still holds something: pour it out or hand it over as waste first.
    """
    given = refunds or {}
    known = Entry.objects.filter(uuid=id).first()
    _check_empties(containers, given, is_repeat=known is not None)
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.RETURN,
        occurred_at=occurred_at,
        by=by,
        wishes=tuple(
            ContainerWish(box, place=source_place or _supplier_place(supplier), state=Container.State.GONE)
            for box in containers
        ),
        reason=reason or f"empties back to {supplier.name}",
        document=document,
        extra={"refunds": " ".join(f"{label}={amount}" for label, amount in sorted(given.items()))},
    )
    entry = post(posting)
    if known is None:
        _settle_deposits(entry, containers, supplier, given)
    return entry


def _settle_deposits(
    entry: Entry, containers: Sequence[Container], supplier: Party, given: Mapping[str, int]
) -> None:
    labels = {box.pk: box.label for box in containers}
    for deposit in _open_deposits(containers):
        if deposit.supplier_id != supplier.pk:
            message = f"has its deposit with {deposit.supplier}; it goes back there"
            raise BadInput.of([Fault("/containers", labels[deposit.container_id], message)])
        deposit.refunded = given.get(labels[deposit.container_id], deposit.amount)
        if not 0 <= deposit.refunded <= deposit.amount:
            message = "must be between nothing and the deposit"
            raise BadInput.of([Fault("/refunds", labels[deposit.container_id], message)])
        deposit.return_entry = entry
        deposit.save(update_fields=["refunded", "return_entry"])


def _check_empties(containers: Sequence[Container], given: Mapping[str, int], *, is_repeat: bool) -> None:
    faults = [] if containers else [Fault("/containers", "", "must name at least one vessel")]
    labels = {box.label for box in containers}
    faults += [Fault("/refunds", label, "is not among the vessels") for label in set(given) - labels]
    faults += [
        Fault(f"/containers/{position}", str(box), "is a lot, which cannot be sent back empty")
        for position, box in enumerate(containers)
        if not box.stands_somewhere
    ]
    if faults:
        raise BadInput.of(faults)
    held = Holding.objects.filter(container__in=containers, quantity__gt=0).select_related("material")
    row = held.select_related("container", "material").first()
    if row is not None and not is_repeat:
        amount = format_millionths(row.quantity, row.material.stock_unit)
        raise NotEmpty(
            f"{row.container} still holds {amount} of {row.material}. "
            "Pour it out, count it as empty, or hand it over as waste first."
        )


def _open_deposits(containers: Sequence[Container]) -> list[Deposit]:
    rows = Deposit.objects.select_for_update(of=("self",)).filter(container__in=containers)
    return list(rows.filter(return_entry=None).select_related("supplier").order_by("pk"))


def _supplier_place(supplier: Party) -> Place:
    """Where goods of this supplier come from, and its vessels go to."""
    place = Place.objects.filter(code=f"supplier:{supplier.code}", kind=Place.Kind.SUPPLIER).first()
    return place or get_special_place(Place.Kind.SUPPLIER)
