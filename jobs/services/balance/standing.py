"""What earlier days left standing in the bores of spans, and how sure their balances were of it."""

from collections.abc import Sequence

from django.db.models import Sum

from inventory.units import MILLION
from jobs.models import BalanceStream, Span
from jobs.queries.fluid_figures import last_balances, list_figures
from jobs.services.balance.story import FluidStory


def find_standing(spans: Sequence[Span], story: FluidStory) -> dict[int, tuple[float, float | None]]:
    """By span what closed days before the day's first catch left there, in the fluid's stock unit.

    With its standard uncertainty: that which the span's last balance left to what stays in the bore, None
    where it could not tell.
    """
    if not spans:
        return {}
    first = min((row.report.occurred_at for row, _spans in story.catches), default=None)
    if first is None:
        return {}
    figures = list_figures().filter(
        span__in=spans,
        fluid_balance__fluid=story.fluid,
        fluid_balance__balance__crew_day__date__lt=first.date(),
    )
    nets = dict(figures.order_by().values("span").annotate(net=Sum("net")).values_list("span", "net"))
    streams = BalanceStream.objects.filter(
        fluid_balance__balance__in=last_balances(),
        fluid_balance__balance__crew_day__date__lt=first.date(),
        fluid_balance__fluid=story.fluid,
        kind=BalanceStream.Kind.BORE,
        span__in=nets,
        reconciled_uncertainty__gt=0,
    ).order_by("fluid_balance__balance__crew_day__date", "pk")
    # The last of a span is the newest.
    sure = {
        span: (known or 0.0) / MILLION
        for span, known in streams.values_list("span", "reconciled_uncertainty")
    }
    return {span: (net / MILLION, sure.get(span)) for span, net in nets.items()}
