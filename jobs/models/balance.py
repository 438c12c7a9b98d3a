"""What became of a crew-day's fluid: how it balanced, what was set right, what nobody can account for.

Amounts are whole millionths of the fluid's stock unit at the reference temperature, uncertainties are
standard ones in the same unit. What was read is not kept here again but in the reports' own rows.
"""

from uuid import UUID, uuid5

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Container, Instrument, Material
from jobs.models.crew import CrewDay
from jobs.models.job import Run, Span

# Under which ids of days, revisions and fluids entries, incidents and events of balances are made.
BALANCES = UUID("3f1e7a52-5c0d-4b0e-9a53-6f8f5a1c9d27")
DOCUMENT_PREFIX = "balance:"


class DayBalance(models.Model):
    """One closing of a crew-day. Never changed: a report that comes late leads to the next revision.

    The last revision counts. Each posts at most one entry, which sets right what the book says by then, so
    all of them together lead to what the last one says.
    """

    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, related_name="balances", db_index=False)
    revision = models.PositiveIntegerField()
    closed_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    # Hash of the reports it is made of: tells whether there is anything new.
    reports_hash = models.CharField(max_length=64)
    entry_uuid = models.UUIDField(null=True)

    class Meta:
        ordering = ["crew_day", "revision"]
        constraints = [
            models.UniqueConstraint(fields=["crew_day", "revision"], name="revisions_of_a_day_differ"),
            models.CheckConstraint(condition=Q(revision__gte=1), name="revisions_count_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.crew_day_id}/{self.revision}"

    @property
    def document(self) -> str:
        """The name under which the book keeps what all closings of the day set right."""
        return balance_document(self.crew_day_id)

    @property
    def entry_id(self) -> UUID:
        """The id of the entry of this day and revision, the same however often it is closed."""
        return uuid5(BALANCES, f"{self.crew_day_id}/{self.revision}")


def balance_document(crew_day_id: int) -> str:
    """The document of a day's adjusting entries."""
    return f"{DOCUMENT_PREFIX}{crew_day_id}"


class FluidBalance(models.Model):
    """One fluid of a closed day, fresh and recovered together.

    `unaccounted` is the residual before fitting, above 0 where fluid is missing, judged against its own
    uncertainty; empty where too little was read to tell. `suspects` would each explain why the day does not
    close, the likeliest first; `freed` are those that were taken for true.
    """

    balance = models.ForeignKey(DayBalance, on_delete=models.PROTECT, related_name="fluids", db_index=False)
    fluid = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    confidence = models.FloatField()
    is_consistent = models.BooleanField()
    global_statistic = models.FloatField()
    degrees_of_freedom = models.PositiveIntegerField()
    critical_value = models.FloatField(null=True)
    suspects = models.JSONField(default=list)
    freed = models.JSONField(default=list)
    injected = models.BigIntegerField()
    unaccounted = models.BigIntegerField(null=True)
    unaccounted_uncertainty = models.FloatField(null=True)
    # Of that, by name, what is due to errors which other days may share, signed as they enter it. Empty where
    # nothing is; nothing at all where it was not kept.
    unaccounted_shared = models.JSONField(null=True)
    # Containers, spans and runs of which too little was read: the unaccounted does not speak of them.
    left_out = models.JSONField(default=list)
    # What the company allows itself on such a day; empty where it has set no limit.
    limit = models.BigIntegerField(null=True)
    is_above_limit = models.BooleanField(default=False)

    class Meta:
        ordering = ["balance", "fluid"]
        constraints = [
            models.UniqueConstraint(fields=["balance", "fluid"], name="a_closing_balances_a_fluid_once"),
            models.CheckConstraint(
                condition=Q(unaccounted__isnull=True, unaccounted_uncertainty__isnull=True)
                | Q(unaccounted__isnull=False, unaccounted_uncertainty__gte=0),
                name="what_is_unaccounted_has_an_uncertainty",
            ),
            models.CheckConstraint(
                condition=Q(is_above_limit=False) | Q(limit__isnull=False, unaccounted__isnull=False),
                name="only_what_is_known_is_above_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.balance_id} {self.fluid_id}"


class BalanceStream(models.Model):
    """One stream of a balanced network: what was read or expected of it, and what the balance makes of it.

    Ends are named as people name them, empty where they lie outside. `measured` is empty for a stream that
    nobody read, the rest where the readings leave it open.
    """

    class Kind(models.TextChoices):
        START = "start", "there before"
        END = "end", "left in it"
        POURED = "poured", "poured or drawn otherwise"
        PUMPED = "pumped", "pumped"
        INJECTED = "injected", "injected"
        CAUGHT = "caught", "caught"
        BORE = "bore", "stays in the bore"
        STOOD = "stood", "stood in the bore before"
        SWEPT = "swept", "swept"
        FILM = "film", "stays as a film"
        HOSE = "hose", "in hose and pump"
        WASTE = "waste", "handed over as waste"
        LOST = "lost", "told as lost"

    fluid_balance = models.ForeignKey(
        FluidBalance, on_delete=models.PROTECT, related_name="streams", db_index=False
    )
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=8, choices=Kind.choices)
    name = models.CharField(max_length=200)
    source = models.CharField(max_length=120, blank=True)
    target = models.CharField(max_length=120, blank=True)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    span = models.ForeignKey(Span, on_delete=models.PROTECT, null=True, related_name="+")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, null=True, related_name="+")
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="+")
    measured = models.BigIntegerField(null=True)
    standard_uncertainty = models.FloatField(null=True)
    reconciled = models.BigIntegerField(null=True)
    reconciled_uncertainty = models.FloatField(null=True)
    test_statistic = models.FloatField(null=True)

    class Meta:
        ordering = ["fluid_balance", "position"]
        constraints = [
            models.UniqueConstraint(fields=["fluid_balance", "position"], name="streams_are_in_order"),
        ]

    def __str__(self) -> str:
        return self.name


class SpanFigure(models.Model):
    """A span's fluid on one day as the balance has it; sums over spans and days add these up.

    `net` is what stays with the span: injected less caught, swept, told as lost and missing. `booked` is what
    the reports have booked there as used, less what came back; `adjusted` is what all revisions together
    added to that, so that the two are `net`. `unaccounted` is the span's part of the day's, by the
    number of spans worked.
    """

    fluid_balance = models.ForeignKey(
        FluidBalance, on_delete=models.PROTECT, related_name="spans", db_index=False
    )
    span = models.ForeignKey(Span, on_delete=models.PROTECT, related_name="figures")
    injected = models.BigIntegerField()
    caught = models.BigIntegerField()
    swept = models.BigIntegerField()
    lost = models.BigIntegerField()
    missing = models.BigIntegerField()
    net = models.BigIntegerField()
    booked = models.BigIntegerField()
    adjusted = models.BigIntegerField()
    unaccounted = models.BigIntegerField(null=True)
    unaccounted_uncertainty = models.FloatField(null=True)

    class Meta:
        ordering = ["fluid_balance", "span"]
        constraints = [
            models.UniqueConstraint(fields=["fluid_balance", "span"], name="a_span_has_one_figure_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.fluid_balance_id} {self.span_id}"
