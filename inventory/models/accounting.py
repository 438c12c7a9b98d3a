"""What the accounts need beside the book: closed periods, a second person's word, and lines that went out."""

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.material import Material
from inventory.models.place import Place


class AccountingPeriod(models.Model):
    """Days that were closed to booking. What is recorded later about one of them is booked after it.

    `Company.books_closed_until` is what posting heeds; these rows say how it came about. A reopened period
    keeps its row and what it stated, and may be closed again in a row of its own.
    """

    first_date = models.DateField(null=True)
    last_date = models.DateField()
    closed_at = models.DateTimeField()
    closed_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    remark = models.CharField(max_length=500, blank=True)
    # What was still open on the check list, and what the stock was worth, as they stood at the closing.
    open_points = models.JSONField(default=list)
    roll_forward = models.JSONField(default=list)
    # Up to which link of the chain the book had been sealed, and its hash.
    last_sequence = models.BigIntegerField()
    last_hash = models.CharField(max_length=64)
    reopened_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["last_date", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["last_date"], condition=Q(reopened_at__isnull=True), name="a_period_is_closed_once"
            ),
            models.CheckConstraint(
                condition=Q(first_date__isnull=True) | Q(first_date__lte=F("last_date")),
                name="a_period_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return f"until {self.last_date}"


class SecondWord(models.Model):
    """What one person asks for and only another may grant: a large write-off, a higher limit for them.

    `body` holds all that is needed to do it, so that granting it does it and nobody is asked twice.
    """

    class Kind(models.TextChoices):
        WRITE_OFF = "write_off", "write-off"
        WRITE_DOWN = "write_down", "write-down"
        REVALUE = "revalue", "change of value"
        SEEN = "seen", "written off already"
        REOPEN = "reopen", "reopen a period"
        LIMIT = "limit", "write-off limit"

    WITHOUT_ENTRY = frozenset({Kind.REOPEN, Kind.LIMIT})

    uuid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    asked_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    reason = models.CharField(max_length=500)
    body = models.JSONField()
    fingerprint = models.CharField(max_length=64)
    decided_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    decided_at = models.DateTimeField(null=True)
    is_granted = models.BooleanField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="who_asks_says_why"),
            models.CheckConstraint(
                condition=Q(decided_by__isnull=True) | ~Q(decided_by=F("asked_by")),
                name="nobody_grants_what_they_asked_for",
            ),
            models.CheckConstraint(
                condition=Q(decided_by__isnull=True, decided_at__isnull=True, is_granted__isnull=True)
                | Q(decided_by__isnull=False, decided_at__isnull=False, is_granted__isnull=False),
                name="a_decision_has_a_person_and_a_moment",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"


class AccountRule(models.Model):
    """To which account the value at places of a kind belongs, for one kind of material or for all."""

    place_kind = models.CharField(max_length=16, choices=Place.Kind.choices)
    material_kind = models.CharField(max_length=12, choices=Material.Kind.choices, blank=True)
    account = models.CharField(max_length=40)

    class Meta:
        ordering = ["place_kind", "material_kind"]
        constraints = [
            models.UniqueConstraint(
                fields=["place_kind", "material_kind"], name="goods_at_a_kind_of_place_have_one_account"
            ),
            models.CheckConstraint(condition=~Q(account=""), name="an_account_has_a_code"),
        ]

    def __str__(self) -> str:
        return f"{self.place_kind} {self.material_kind or 'all'}: {self.account}"


class JournalBatch(models.Model):
    """Lines for the general ledger, numbered without a gap. Made once; accepted or rejected by its reader.

    It covers what was sealed up to `last_sequence` and is booked up to `booked_until`.
    """

    class State(models.TextChoices):
        OUT = "out", "out"
        ACCEPTED = "accepted", "accepted"
        REJECTED = "rejected", "rejected"

    number = models.PositiveIntegerField(unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    booked_until = models.DateField()
    last_sequence = models.BigIntegerField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.OUT)
    answered_at = models.DateTimeField(null=True)
    answer = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["number"]
        verbose_name_plural = "journal batches"

    def __str__(self) -> str:
        return str(self.number)


class JournalLine(models.Model):
    """One amount of a batch, in whole coins; debit above zero, credit below.

    It is the account's rounded balance less what earlier batches brought, so rounding never adds up. Lines
    of a batch sum to zero. `job_place` is the job whose goods these are, where they are charged to one.
    """

    batch = models.ForeignKey(JournalBatch, on_delete=models.PROTECT, related_name="lines", db_index=False)
    line = models.PositiveIntegerField()
    account = models.CharField(max_length=40)
    job_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    # Millionths of the currency, over everything up to this batch.
    exact_balance = models.BigIntegerField()
    # Whole coins.
    rounded_balance = models.BigIntegerField()
    amount = models.BigIntegerField()

    class Meta:
        ordering = ["batch", "line"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "line"], name="lines_of_a_batch_differ"),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}/{self.line}"


class RejectedBatch(models.Model):
    """A batch as it went out and came back, kept when it is made anew. Never changed.

    `lines` are those of `JournalLine` by their fields, the job by its place's code: accounts and amounts as
    they were sent, whatever becomes of either.
    """

    batch = models.ForeignKey(JournalBatch, on_delete=models.PROTECT, related_name="rejected")
    attempt = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    rejected_at = models.DateTimeField()
    answer = models.CharField(max_length=500, blank=True)
    lines = models.JSONField()

    class Meta:
        ordering = ["batch", "attempt"]
        verbose_name_plural = "rejected batches"
        constraints = [
            models.UniqueConstraint(fields=["batch", "attempt"], name="rejections_of_a_batch_are_numbered"),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}, {self.attempt}"
