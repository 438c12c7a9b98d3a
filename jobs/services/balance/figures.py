"""From a balanced network to whole figures of its spans, and what the book has to be set right by."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Sum

from inventory.calc.allocation import allocate_money
from inventory.models import Material, Movement
from inventory.units import MILLION
from jobs.calc.fluid_network import NetworkBalance
from jobs.models import BalanceStream, Span
from jobs.services.balance.drawn import Network
from jobs.services.balance.story import FluidStory

Kind = BalanceStream.Kind
# What is used at a span and comes back from it; told losses stand in the book as they were told.
BALANCED_PURPOSES = (Movement.Purpose.USED, Movement.Purpose.RECOVERED)


@dataclass
class Figure:
    """A span's day in millionths of the fresh fluid's stock unit."""

    span: Span
    injected: int = 0
    caught: int = 0
    swept: int = 0
    lost: int = 0
    missing: int = 0
    booked: int = 0
    # What all closings of the day together added, this one too.
    adjusted: int = 0

    @property
    def net(self) -> int:
        """What stays with the span."""
        return self.injected - self.caught - self.swept - self.lost - self.missing


def make_figures(network: Network, balance: NetworkBalance) -> dict[int, Figure]:
    """The figures by span. What was swept or is missing of a run goes to its spans by what stood there."""
    found: dict[int, Figure] = {}
    stood: dict[int, dict[int, float]] = {}
    for drawn, amount in zip(network.drawn, balance.fit.reconciled, strict=True):
        if drawn.span is None:
            continue
        figure = found.setdefault(drawn.span.pk, Figure(drawn.span))
        if drawn.kind == Kind.INJECTED:
            figure.injected += _whole(amount)
        elif drawn.kind == Kind.CAUGHT:
            figure.caught += _whole(amount)
        elif drawn.kind == Kind.LOST and drawn.stream.source == f"span:{drawn.span.pk}":
            figure.lost += _whole(amount)
        elif drawn.kind in (Kind.BORE, Kind.STOOD) and drawn.run is not None:
            stood.setdefault(drawn.run.pk, {})[drawn.span.pk] = max(float(amount), 0.0)
    for drawn, amount in zip(network.drawn, balance.fit.reconciled, strict=True):
        if drawn.kind in (Kind.SWEPT, Kind.LOST) and drawn.run is not None and drawn.span is None:
            word = "swept" if drawn.kind == Kind.SWEPT else "lost"
            _share(found, stood.get(drawn.run.pk, {}), _whole(amount), word)
    for suspect in balance.freed:
        if suspect.kind == "missing" and not math.isnan(suspect.amount):
            kind, _colon, key = suspect.name.partition(":")
            if kind == "span" and int(key) in found:
                found[int(key)].missing += _whole(suspect.amount)
            elif kind == "run":
                _share(found, stood.get(int(key), {}), _whole(suspect.amount), "missing")
    return found


def _share(found: dict[int, Figure], stood: dict[int, float], amount: int, word: str) -> None:
    keys = [key for key in stood if key in found]
    if not keys:
        return
    weights = [round(stood[key] * MILLION) for key in keys]
    parts = allocate_money(total_minor_units=amount, weights=weights if any(weights) else [1] * len(keys))
    for key, part in zip(keys, parts, strict=True):
        setattr(found[key], word, getattr(found[key], word) + part)


def _whole(amount: float) -> int:
    return 0 if math.isnan(amount) else round(amount * MILLION)


def note_booked(
    figures: Iterable[Figure],
    story: FluidStory,
    *,
    reports: Sequence[str],
    closings: str,
    materials: dict[int, Material],
) -> None:
    """Add what the day's reports have booked at the spans, and what its closings have added so far."""
    by_place = {figure.span.place_id: figure for figure in figures}
    for end, sign in (("target_place", 1), ("source_place", -1)):
        rows = (
            Movement.objects.filter(**{f"{end}__in": by_place})
            .filter(material__in=story.family, entry__document__in=[*reports, closings])
            .filter(purpose__in=BALANCED_PURPOSES)
            .filter(entry__reversed_by__isnull=True, entry__reverses__isnull=True)
            .order_by()
            .values_list(end, "material", "entry__document")
            .annotate(Sum("quantity"))
        )
        for place, material, document, quantity in rows:
            amount = sign * story.as_fluid(int(quantity), materials[material])
            if document == closings:
                by_place[place].adjusted += amount
            else:
                by_place[place].booked += amount
