"""Closings of crew-days with what they say, and where a day's fluid went, in a few lines."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot

from django.db.models import Prefetch, QuerySet

from inventory.errors import NotFound
from jobs.models import BalanceStream, CrewDay, DayBalance, FluidBalance, SpanFigure
from jobs.queries.fluid_figures import COVERAGE, last_balances

Kind = BalanceStream.Kind


@dataclass(frozen=True)
class WayLine:
    """One way that a day's fluid took: millionths of its stock unit, with the standard uncertainty.

    `word` is stable: out, stood, caught, bore, film, hose, lost, unaccounted. What went out and what stood
    there before are what there was; all others are where it went.
    """

    word: str
    amount: int
    standard_uncertainty: float


def with_parts(balances: QuerySet[DayBalance]) -> QuerySet[DayBalance]:
    """Closings with their fluids, streams and spans, in a number of queries that does not grow with them."""
    streams = BalanceStream.objects.select_related("container", "span", "run", "instrument")
    spans = SpanFigure.objects.select_related("span__job")
    fluids = FluidBalance.objects.select_related("fluid").prefetch_related(
        Prefetch("streams", streams.order_by("position")), Prefetch("spans", spans.order_by("span"))
    )
    return balances.select_related("crew_day__crew", "by").prefetch_related(Prefetch("fluids", fluids))


def get_last_balance(day: CrewDay) -> DayBalance:
    """The closing of a day that counts."""
    found = with_parts(last_balances().filter(crew_day=day)).first()
    if found is None:
        raise NotFound("That day has not been closed yet.")
    return found


def list_ways(row: FluidBalance) -> list[WayLine]:
    """Where the fluid of a day went, as read and, where nobody read it, as the balance has it.

    The last line is what cannot be accounted for; it is left out where too little was read to tell.
    """
    streams = list(row.streams.all())
    drops = _drops_of(streams)
    out = [drop for drop in drops if drop[0] > 0]
    back = [(-amount, uncertainty) for amount, uncertainty in drops if amount < 0]
    lines = [_sum("out", out), _sum("stood", _of_kind(streams, Kind.STOOD)), _sum("caught", back)]
    # What is expected of bores and walls is off the same way for all of them: it adds up as it is.
    bores = [_amount(each) for each in streams if _stays_in_bore(each)]
    films = _of_kind(streams, Kind.FILM)
    for word, parts in (("bore", bores), ("film", films)):
        lines.append(WayLine(word, sum(part[0] for part in parts), sum(part[1] for part in parts)))
    lines += [_sum("hose", _of_kind(streams, Kind.HOSE)), _sum("lost", _of_kind(streams, Kind.LOST))]
    found = [line for line in lines if line.amount or line.standard_uncertainty]
    if row.unaccounted is not None and row.unaccounted_uncertainty is not None:
        found.append(WayLine("unaccounted", row.unaccounted, row.unaccounted_uncertainty))
    return found


def interval_of(amount: int, standard_uncertainty: float) -> tuple[int, int]:
    """Where an amount lies at 95 %."""
    half = round(COVERAGE * standard_uncertainty)
    return amount - half, amount + half


def _stays_in_bore(stream: BalanceStream) -> bool:
    """What is in a bore or run at the end of the day: it leads to no run that was swept."""
    return stream.kind == Kind.BORE and not stream.target


def _drops_of(streams: Iterable[BalanceStream]) -> list[tuple[int, float]]:
    """By how much less is in each container than there was, pours and waste apart."""
    sums: dict[int, tuple[int, float]] = {}
    signs = {Kind.START: 1, Kind.END: -1, Kind.WASTE: -1}
    for stream in streams:
        if stream.container is None:
            continue
        label, sign = stream.container.label, signs.get(Kind(stream.kind), 0)
        if stream.kind == Kind.POURED:
            for end, way in ((stream.source, -1), (stream.target, 1)):
                if end == label:
                    sums[stream.container_id or 0] = _plus(sums, stream, way)
        elif sign:
            sums[stream.container_id or 0] = _plus(sums, stream, sign)
    return list(sums.values())


def _plus(sums: dict[int, tuple[int, float]], stream: BalanceStream, sign: int) -> tuple[int, float]:
    so_far, uncertainty = sums.get(stream.container_id or 0, (0, 0.0))
    amount, more = _amount(stream)
    return so_far + sign * amount, hypot(uncertainty, more)


def _of_kind(streams: Iterable[BalanceStream], kind: str) -> list[tuple[int, float]]:
    return [_amount(stream) for stream in streams if stream.kind == kind]


def _amount(stream: BalanceStream) -> tuple[int, float]:
    if stream.measured is not None:
        return stream.measured, stream.standard_uncertainty or 0.0
    return stream.reconciled or 0, stream.reconciled_uncertainty or 0.0


def _sum(word: str, parts: Iterable[tuple[int, float]]) -> WayLine:
    listed = list(parts)
    return WayLine(word, sum(part[0] for part in listed), hypot(*(part[1] for part in listed)))
