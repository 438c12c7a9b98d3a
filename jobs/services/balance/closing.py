"""Closing a crew-day: its fluid is balanced, one entry sets the book right, what is missing is told.

Containers keep what was read in them. What the balance makes of the day goes to the spans, against the
book's differences, where what nobody can account for stays.
"""

import hashlib
import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from inventory.calc.allocation import allocate_money
from inventory.errors import SpanstockError
from inventory.models import Actor, Entry, Holding, Instrument, Material, Movement, Place
from inventory.queries.company import get_company, get_company_party
from inventory.queries.instruments import trust_instruments
from inventory.services.posting import End, Flow, Posting, post
from inventory.services.posting.special_places import get_special_place
from inventory.units import MILLION, conversion_factor
from jobs.calc.fluid_network import NetworkBalance, Suspect, balance_network
from jobs.models import (
    BalanceStream,
    CrewDay,
    DayBalance,
    FieldReport,
    FluidBalance,
    SpanFigure,
)
from jobs.queries.company_rules import get_company_rules
from jobs.queries.jobs import get_policy
from jobs.services.balance.drawn import Network
from jobs.services.balance.expected import load_expectations
from jobs.services.balance.figures import Figure, make_figures, note_booked
from jobs.services.balance.network import build_network
from jobs.services.balance.story import FluidStory, tell_stories
from jobs.services.balance.telling import tell_unaccounted
from jobs.services.day_life import lock_crew_day
from jobs.services.reports.drafting import as_material
from jobs.services.reports.keeping import load_told

CONFIDENCE = 0.95


class NothingReported(SpanstockError):
    """No report of that day stands, so there is nothing to close."""

    code = "nothing_reported"


@transaction.atomic
def close_crew_day(*, crew_code: str, date: date, by: Actor, occurred_at: datetime) -> DayBalance:
    """Balance what stands of a crew's day; again, without anything new, it gives the same closing back.

    A report that came late, or was corrected, leads to the next revision, whose entry sets right what the
    last one left.

    Raises
    ------
    NotFound
        If the crew has no such day.
    NothingReported
        If no report of the day stands.
    """
    day = lock_crew_day(crew_code=crew_code, date=date)
    reports = list(FieldReport.objects.filter(crew_day=day, is_undone=False).order_by("occurred_at", "uuid"))
    last = DayBalance.objects.filter(crew_day=day).order_by("-revision").first()
    if not reports and last is None:
        raise NothingReported(f"Crew {crew_code} has reported nothing of {date}; send a report first.")
    seen = _hash_of(reports)
    if last is not None and last.reports_hash == seen and not _is_withdrawn(last):
        return last
    balance = DayBalance(
        crew_day=day,
        revision=last.revision + 1 if last is not None else 1,
        closed_at=occurred_at,
        recorded_at=timezone.now(),
        by=by,
        reports_hash=seen,
    )
    balance.save()
    _Closing(balance, day, reports).close()
    return balance


@transaction.atomic
def tell_before_closing(*, day: CrewDay, by: Actor, now: datetime) -> None:
    """Tell safety of what is missing on a day that is not closed yet, by what was reported so far.

    Nothing is kept or posted but the incident; the closing of the day finds it told.
    """
    reports = list(FieldReport.objects.filter(crew_day=day, is_undone=False).order_by("occurred_at", "uuid"))
    balance = DayBalance(crew_day=day, revision=0, closed_at=now, recorded_at=now, by=by)
    _Closing(balance, day, reports).tell_so_far()


def _is_withdrawn(balance: DayBalance) -> bool:
    """Whether its entry was reversed, because reports under it were booked again."""
    if balance.entry_uuid is None:
        return False
    return Entry.objects.filter(uuid=balance.entry_uuid, reversed_by__isnull=False).exists()


def _hash_of(reports: Sequence[FieldReport]) -> str:
    """Which reports stand, and how often each was booked: tells whether there is anything new."""
    form = ";".join(f"{report.uuid}:{report.postings}" for report in reports)
    return hashlib.sha256(form.encode()).hexdigest()


class _Closing:
    def __init__(self, balance: DayBalance, day: CrewDay, reports: Sequence[FieldReport]) -> None:
        self.balance = balance
        self.day = day
        self.reports = reports
        self.materials = Material.objects.filter(kind=Material.Kind.FLUID).in_bulk()
        self.company = get_company_party()
        self.variance = End(get_special_place(Place.Kind.VARIANCE))
        self.rules = get_company_rules()

    def close(self) -> None:
        flows: list[Flow] = []
        for story, network in self._networks():
            flows += self._close_fluid(story, network)
        self._post(flows)

    def tell_so_far(self) -> None:
        """Tell of what is missing by the reports that stand, without keeping or posting anything."""
        for story, network in self._networks():
            found = balance_network(streams=network.streams, confidence=CONFIDENCE)
            figures = list(make_figures(network, found).values())
            tell_unaccounted(self._make_fluid(story, network, found, figures), self.day, is_closed=False)

    def _networks(self) -> Iterator[tuple[FluidStory, Network]]:
        by_report = load_told(self.reports)
        told = [by_report[report.pk] for report in self.reports]
        stories = tell_stories(self.day, told)
        expectations = load_expectations(get_policy())
        reference_c = get_company().reference_temperature_c
        trusted = trust_instruments(
            Instrument.objects.filter(pk__in=_instruments_of(stories)), on_date=self.day.date
        )
        for story in stories:
            network = build_network(story, expectations, trusted, reference_c)
            if network.drawn:
                yield story, network

    def _close_fluid(self, story: FluidStory, network: Network) -> list[Flow]:
        found = balance_network(streams=network.streams, confidence=CONFIDENCE)
        figures = list(make_figures(network, found).values())
        note_booked(
            figures,
            story,
            reports=[report.document for report in self.reports],
            closings=self.balance.document,
            materials=self.materials,
        )
        row = self._make_fluid(story, network, found, figures)
        row.save()
        _keep_streams(row, network, found)
        held = self._held_at(story, figures)
        flows: list[Flow] = []
        for figure in figures:
            # No more is taken out of a span than lies there: the rest stays with what is unaccounted.
            most = sum(part for _material, part in held.get(figure.span.place_id, []))
            change = max(figure.net - figure.booked - figure.adjusted, -most)
            figure.adjusted += change
            flows += self._flows_of(story, figure, change, held)
        _keep_figures(row, figures)
        tell_unaccounted(row, self.day)
        return flows

    def _make_fluid(
        self, story: FluidStory, network: Network, found: NetworkBalance, figures: Sequence[Figure]
    ) -> FluidBalance:
        first, unaccounted = found.first, found.unaccounted
        is_known = not math.isnan(unaccounted.amount)
        injected = sum(figure.injected for figure in figures)
        limit = self._limit(story.fluid, injected)
        amount = round(unaccounted.amount * MILLION) if is_known else None
        return FluidBalance(
            balance=self.balance,
            fluid=story.fluid,
            confidence=CONFIDENCE,
            is_consistent=first.is_consistent,
            global_statistic=first.global_statistic,
            degrees_of_freedom=first.degrees_of_freedom,
            critical_value=None if math.isnan(first.critical_value) else first.critical_value,
            suspects=[_suspect_form(each, network) for each in found.suspects],
            freed=[_suspect_form(each, network) for each in found.freed],
            injected=injected,
            unaccounted=amount,
            unaccounted_uncertainty=unaccounted.standard_uncertainty * MILLION if is_known else None,
            unaccounted_shared={name: part * MILLION for name, part in unaccounted.shared.items() if part}
            if is_known
            else None,
            left_out=sorted(label for node, label in network.labels.items() if node not in unaccounted.nodes),
            limit=limit,
            is_above_limit=limit is not None and amount is not None and amount > limit,
        )

    def _limit(self, fluid: Material, injected: int) -> int | None:
        """What the company allows itself of unaccounted fluid that day: the lower of its two limits."""
        limits = []
        if self.rules.unaccounted_limit_l is not None:
            factor = float(conversion_factor("L", fluid.stock_unit))
            limits.append(round(self.rules.unaccounted_limit_l * factor * MILLION))
        if self.rules.unaccounted_limit_share is not None:
            limits.append(round(self.rules.unaccounted_limit_share * injected))
        return min(limits, default=None)

    def _held_at(self, story: FluidStory, figures: Sequence[Figure]) -> dict[int, list[tuple[Holding, int]]]:
        """What lies at the spans, the fresh fluid first, with how much that is in its unit."""
        rows = Holding.objects.filter(
            place__in=[figure.span.place_id for figure in figures],
            material__in=story.family,
            container=None,
            owner=self.company,
            quantity__gt=0,
        )
        found: dict[int, list[tuple[Holding, int]]] = {}
        for row in sorted(rows, key=lambda row: (row.material_id != story.fluid.pk, row.material_id)):
            amount = story.as_fluid(row.quantity, self.materials[row.material_id])
            found.setdefault(row.place_id, []).append((row, amount))
        return found

    def _flows_of(
        self,
        story: FluidStory,
        figure: Figure,
        change: int,
        held: dict[int, list[tuple[Holding, int]]],
    ) -> list[Flow]:
        """Between a span and the book's differences."""
        span, purpose = End(figure.span.place), Movement.Purpose.USED
        if change > 0:
            return [Flow(story.fluid, change, self.variance, span, purpose, self.company)]
        flows, left = [], -change
        for row, amount in held.get(figure.span.place_id, []):
            material, part = self.materials[row.material_id], min(amount, left)
            quantity = min(row.quantity, as_material(part, story.fluid, material))
            if quantity > 0:
                flows.append(Flow(material, quantity, span, self.variance, purpose, self.company))
            left -= part
        return flows

    def _post(self, flows: Sequence[Flow]) -> None:
        """One entry for the whole day; nothing is posted where the book says it already."""
        if not flows:
            return
        entry = post(
            Posting(
                uuid=self.balance.entry_id,
                kind=Entry.Kind.REPORT,
                occurred_at=self.reports[-1].occurred_at if self.reports else self.balance.closed_at,
                by=self.balance.by,
                flows=tuple(flows),
                reason=f"fluid balance of crew {self.day.crew.code} for {self.day.date}, "
                f"revision {self.balance.revision}",
                document=self.balance.document,
                opens_rows=True,
            )
        )
        self.balance.entry_uuid = entry.uuid
        self.balance.save(update_fields=["entry_uuid"])


def _instruments_of(stories: Sequence[FluidStory]) -> set[int]:
    keys = {row.meter_id for story in stories for row in story.attempts}
    for story in stories:
        for vessel in story.vessels.values():
            keys |= {row.instrument_id for row in (vessel.start, vessel.end) if row is not None}
    return {key for key in keys if key is not None}


def _suspect_form(suspect: Suspect, network: Network) -> dict[str, object]:
    """A suspect as people read it; the amount in the fluid's unit, of a shared error in its uncertainties."""
    is_missing = suspect.kind == "missing"
    name = network.labels[suspect.name] if is_missing else suspect.name
    return {
        "kind": suspect.kind,
        "name": f"fluid missing at {name}" if is_missing else name,
        "statistic": suspect.statistic,
        "amount": suspect.amount,
        "standard_uncertainty": suspect.standard_uncertainty,
    }


def _keep_streams(row: FluidBalance, network: Network, found: NetworkBalance) -> None:
    fit = found.fit
    BalanceStream.objects.bulk_create(
        BalanceStream(
            fluid_balance=row,
            position=number,
            kind=drawn.kind,
            name=drawn.stream.name[:200],
            source=network.labels.get(drawn.stream.source or "", "")[:120],
            target=network.labels.get(drawn.stream.target or "", "")[:120],
            container=drawn.container,
            span=drawn.span,
            run=drawn.run,
            instrument=drawn.instrument,
            measured=_millionths(drawn.stream.measured),
            standard_uncertainty=_maybe(drawn.stream.standard_uncertainty * MILLION)
            if not math.isnan(drawn.stream.measured)
            else None,
            reconciled=_millionths(fit.reconciled[number]),
            reconciled_uncertainty=_maybe(fit.standard_uncertainty[number] * MILLION),
            test_statistic=_maybe(found.first.test_statistic[number]),
        )
        for number, drawn in enumerate(network.drawn)
    )


def _keep_figures(row: FluidBalance, figures: Sequence[Figure]) -> None:
    """The spans' figures, each with its part of the unaccounted by the number of spans worked."""
    worked = [figure for figure in figures if figure.injected] or list(figures)
    shares: dict[int, int] = {}
    if row.unaccounted is not None and worked:
        parts = allocate_money(total_minor_units=row.unaccounted, weights=[1] * len(worked))
        shares = {figure.span.pk: part for figure, part in zip(worked, parts, strict=True)}
    uncertainty = row.unaccounted_uncertainty
    SpanFigure.objects.bulk_create(
        SpanFigure(
            fluid_balance=row,
            span=figure.span,
            injected=figure.injected,
            caught=figure.caught,
            swept=figure.swept,
            lost=figure.lost,
            missing=figure.missing,
            net=figure.booked + figure.adjusted,
            booked=figure.booked,
            adjusted=figure.adjusted,
            unaccounted=None if uncertainty is None else shares.get(figure.span.pk, 0),
            unaccounted_uncertainty=None
            if uncertainty is None
            else (uncertainty / len(worked) if figure.span.pk in shares else 0.0),
        )
        for figure in figures
    )


def _millionths(amount: float) -> int | None:
    return None if math.isnan(amount) else round(amount * MILLION)


def _maybe(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
