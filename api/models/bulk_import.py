"""Files that somebody sent to be taken in the background, and what became of each of their rows."""

from django.db import models
from django.db.models import Q

from api.models.account import User


class BulkImport(models.Model):
    """One file on its way into the book or the plan. The row holds the file, so any worker may take it up.

    Whoever works on it has it until `taken_until`; a worker that is lost leaves it to the next by doing
    nothing. What was taken whole is known by the event of the same id, what is taken row by row by its rows.
    The file is dropped when all is over; `fingerprint` stays, so that sending it again is harmless.
    """

    class Kind(models.TextChoices):
        SPANS = "spans", "spans of a job"
        CREW_DAYS = "crew-days", "who does what on which day"
        STOCK = "stock", "a stock sheet"
        FIELD_REPORTS = "field-reports", "field reports"

    uuid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=13, choices=Kind.choices)
    name = models.CharField(max_length=200)
    options = models.JSONField(default=dict)
    content = models.BinaryField()
    fingerprint = models.CharField(max_length=64)
    asked_by = models.ForeignKey("inventory.Actor", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    # The account and what its token was narrowed to: a worker may do no more than who sent the file.
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    scopes = models.CharField(max_length=200, null=True)
    taken_until = models.DateTimeField(null=True)
    claim = models.UUIDField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    doing = models.CharField(max_length=60, blank=True)
    rows_done = models.PositiveIntegerField(default=0)
    row_count = models.PositiveIntegerField(null=True)
    answer = models.JSONField(null=True)
    refusal_code = models.CharField(max_length=60, blank=True)
    refusal = models.TextField(blank=True)
    failure = models.CharField(max_length=200, blank=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(refusal_code="") | Q(finished_at__isnull=False), name="a_refused_import_is_over"
            ),
        ]
        indexes = [
            models.Index(
                fields=["id"], condition=Q(finished_at__isnull=True), name="imports_waiting_to_be_done"
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


class ImportedRow(models.Model):
    """A row of an import: one that is taken by itself, or one with faults in a file taken whole.

    `faults` names field, value and remedy of each fault.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "not taken up yet"
        DONE = "done", "taken"
        REFUSED = "refused", "refused, with the reason"

    bulk_import = models.ForeignKey(BulkImport, on_delete=models.CASCADE, related_name="rows", db_index=False)
    line = models.PositiveIntegerField()
    state = models.CharField(max_length=7, choices=State.choices)
    body = models.JSONField(null=True)
    refusal_code = models.CharField(max_length=60, blank=True)
    refusal = models.TextField(blank=True)
    faults = models.JSONField(default=list)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["bulk_import", "line"], name="an_import_has_a_line_once"),
            models.CheckConstraint(
                condition=~Q(state="refused") | ~Q(refusal_code=""), name="a_refused_row_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bulk_import_id} line {self.line}"
