"""Recovered fluid as it stands: vessel by vessel, its state, how it came back, how often it was in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, Max, QuerySet

from inventory.models import (
    Container,
    Deposit,
    FluidRelease,
    Holding,
    Material,
    Party,
    Place,
    WasteDrum,
)
from inventory.queries.fluid_history import FluidHistory, find_histories


@dataclass(frozen=True)
class RecoveredFluid:
    """What one vessel holds of a recovered fluid; `ends_at` is when its pass as fit for use is over."""

    holding: Holding
    container: Container
    material: Material
    history: FluidHistory
    ends_at: datetime | None


@dataclass(frozen=True)
class WasteDue:
    """A vessel that gathers waste, and by when it must go; None where no limit is approved."""

    drum: WasteDrum
    due_date: date | None
    days_left: int | None


@dataclass
class DepositBalance:
    """Money that lies with a supplier for vessels, and what was not paid back, in millionths."""

    supplier: Party
    vessels: int = 0
    amount: int = 0
    lost: int = 0


def list_recovered_fluid(holdings: QuerySet[Holding]) -> QuerySet[Holding]:
    """Narrow holdings to recovered fluid in vessels."""
    rows = holdings.filter(
        material__recovered_from__isnull=False, container__isnull=False, quantity__gt=0
    ).exclude(container__kind=Container.Kind.LOT)
    return rows.select_related("place", "material", "owner", "container")


def describe_recovered_fluid(rows: Sequence[Holding]) -> list[RecoveredFluid]:
    """Say what is known of these holdings; the number of questions does not grow with them."""
    keys = [row.container_id for row in rows if row.container_id is not None]
    histories = find_histories(keys)
    ends = dict(
        FluidRelease.objects.filter(container__in=keys, ended_at=None)
        .values("container")
        .annotate(end=Max("ends_at"))
        .values_list("container", "end")
    )
    found = []
    for row in rows:
        assert row.container is not None
        is_fit = row.container.contents_state == Container.ContentsState.FIT
        end = ends.get(row.container.pk) if is_fit else None
        found.append(RecoveredFluid(row, row.container, row.material, histories[row.container.pk], end))
    return found


def list_waste_due(drums: QuerySet[WasteDrum], *, on_date: date) -> list[WasteDue]:
    """Vessels that gather waste, the most pressing first; those without an approved limit lead."""
    rows = drums.filter(manifest=None).select_related("container__place", "container__material", "started_by")
    due = [make_waste_due(row, on_date) for row in rows]
    return sorted(due, key=lambda row: (row.due_date or date.min, row.drum.pk))


def make_waste_due(drum: WasteDrum, on_date: date) -> WasteDue:
    """By when one vessel must go, seen from a day."""
    if drum.day_limit is None or drum.manifest_id is not None:
        return WasteDue(drum, None, None)
    due = drum.started_date + timedelta(days=drum.day_limit)
    return WasteDue(drum, due, (due - on_date).days)


def list_deposit_balances() -> list[DepositBalance]:
    """What lies with each supplier, and what of earlier deposits was not paid back."""
    found: dict[int, DepositBalance] = {}
    for row in Deposit.objects.select_related("supplier").order_by("supplier__code", "pk"):
        balance = found.setdefault(row.supplier_id, DepositBalance(row.supplier))
        if row.refunded is None:
            balance.vessels += 1
            balance.amount += row.amount
        else:
            balance.lost += row.amount - row.refunded
    return list(found.values())


def list_empties_to_return() -> QuerySet[Deposit]:
    """Open deposits whose vessel holds nothing: money that only waits to be fetched."""
    held = Holding.objects.filter(quantity__gt=0, container__isnull=False).values("container")
    rows = Deposit.objects.filter(return_entry=None, container__place__kind__in=Place.STOCK_KINDS)
    return rows.exclude(container__in=held).order_by(F("paid_date").asc(), "pk")
