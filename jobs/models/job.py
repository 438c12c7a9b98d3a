"""Work for a customer: the job, its access points, runs and spans."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Material, Party, Place
from jobs.models.cable import CableSize


class Job(models.Model):
    """One piece of work under one reference. Its materials end up in its place and those of its parts.

    Which state may follow which is decided by the service that changes it. A reference has no colon, so
    that the codes of places, which join reference and name by colons, cannot collide.
    """

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        APPROVED = "approved", "approved"
        UNDER_WAY = "under_way", "under way"
        ON_HOLD = "on_hold", "on hold"
        FINISHED = "finished", "finished"
        CANCELLED = "cancelled", "cancelled"
        CLOSED = "closed", "closed"

    reference = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=200, blank=True)
    customer = models.ForeignKey(Party, on_delete=models.PROTECT, null=True, related_name="jobs")
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLANNED)
    # Where a job on hold goes on when it is taken up again.
    held_from = models.CharField(max_length=10, choices=State.choices, blank=True)
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="job")
    # What is blown in, and whose goods it is; without an owner the customer's where it has furnished any.
    fibre = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    fibre_owner = models.ForeignKey(Party, on_delete=models.PROTECT, null=True, related_name="+")
    # Counts the span lists taken, so that two that were read at the same time cannot both be stored.
    span_revision = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["reference"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(reference="") & ~Q(reference__contains=":"),
                name="job_reference_is_given_and_has_no_colon",
            ),
            models.CheckConstraint(
                condition=(Q(state="on_hold") & ~Q(held_from="")) | (~Q(state="on_hold") & Q(held_from="")),
                name="only_a_job_on_hold_was_held_from_a_state",
            ),
        ]

    def __str__(self) -> str:
        return self.reference


class AccessPoint(models.Model):
    """Where a sheath can be reached. Its kind may be unknown until somebody has been there."""

    class Kind(models.TextChoices):
        PEDESTAL = "pedestal", "pedestal"
        VAULT = "vault", "vault"
        HANDHOLE = "handhole", "handhole"
        POLE = "pole", "pole"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="access_points", db_index=False)
    name = models.CharField(max_length=64)
    kind = models.CharField(max_length=8, choices=Kind.choices, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["job", "name"], name="a_job_uses_an_access_point_name_once")
        ]

    def __str__(self) -> str:
        return self.name


class Run(models.Model):
    """Spans joined by unions into one length of one bore, cleaned and blown as one.

    `is_derived`: found by shared access points rather than named in the list it came from, so a revision
    may name it anew. A run whose spans were all withdrawn is withdrawn too and keeps its history.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="runs", db_index=False)
    name = models.CharField(max_length=64)
    cable_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, related_name="runs")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="run")
    is_derived = models.BooleanField(default=False)
    is_withdrawn = models.BooleanField(default=False)
    cleaned_at = models.DateTimeField(null=True)
    blown_at = models.DateTimeField(null=True)
    # Done before the job started here: no materials of ours, so nothing to learn from.
    was_cleaned_before_start = models.BooleanField(default=False)
    was_blown_before_start = models.BooleanField(default=False)

    class Meta:
        ordering = ["job", "name"]
        constraints = [
            models.UniqueConstraint(fields=["job", "name"], name="a_job_uses_a_run_name_once"),
            models.CheckConstraint(
                condition=Q(cleaned_at__isnull=True) | Q(was_cleaned_before_start=False),
                name="a_run_is_cleaned_here_or_before_start",
            ),
            models.CheckConstraint(
                condition=Q(blown_at__isnull=True) | Q(was_blown_before_start=False),
                name="a_run_is_blown_here_or_before_start",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_cleaned(self) -> bool:
        return self.was_cleaned_before_start or self.cleaned_at is not None

    @property
    def is_blown(self) -> bool:
        return self.was_blown_before_start or self.blown_at is not None


class Span(models.Model):
    """One unbroken length of sheath between two access points, extracted by itself.

    Lengths are whole micrometres, in which feet, inches and metres are all exact; the length as it was
    given is kept beside. Its sequence orders it within its run; that no two live spans of a run share one
    is kept by the importer, since a revision may exchange them and neither database checks that late.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="spans", db_index=False)
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="spans")
    name = models.CharField(max_length=64)
    sequence = models.PositiveIntegerField()
    cable_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, related_name="spans")
    length_um = models.BigIntegerField()
    entered_length = models.CharField(max_length=40)
    entered_unit = models.CharField(max_length=10)
    near = models.ForeignKey(AccessPoint, on_delete=models.PROTECT, related_name="spans_from")
    far = models.ForeignKey(AccessPoint, on_delete=models.PROTECT, related_name="spans_to")
    bends = models.PositiveIntegerField(null=True)
    # A loop of fibre left at the far access point.
    slack_um = models.BigIntegerField(default=0)
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="span")
    # The span that was cut in pieces when an access point was found or dug in its middle.
    split_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="pieces")
    is_withdrawn = models.BooleanField(default=False)
    extracted_at = models.DateTimeField(null=True)
    was_extracted_before_start = models.BooleanField(default=False)
    # As a crew found it, beside the design; the last report that tells of it holds.
    as_found_size = models.ForeignKey(CableSize, on_delete=models.PROTECT, null=True, related_name="+")
    as_found_length_um = models.BigIntegerField(null=True)
    hidden_splices = models.PositiveIntegerField(null=True)

    class Meta:
        ordering = ["run", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["job", "name"], name="a_job_uses_a_span_name_once"),
            models.CheckConstraint(condition=Q(length_um__gt=0), name="span_has_a_length"),
            models.CheckConstraint(
                condition=Q(as_found_length_um__isnull=True) | Q(as_found_length_um__gt=0),
                name="span_as_found_has_a_length",
            ),
            models.CheckConstraint(condition=Q(slack_um__gte=0), name="slack_is_not_negative"),
            models.CheckConstraint(condition=~Q(near=F("far")), name="span_has_two_ends"),
            models.CheckConstraint(
                condition=Q(extracted_at__isnull=True) | Q(was_extracted_before_start=False),
                name="a_span_is_extracted_here_or_before_start",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def length_m(self) -> float:
        """The length as designed; work is reckoned with `found_length_um`."""
        return self.length_um / 1_000_000

    @property
    def found_length_um(self) -> int:
        """The length to reckon with: as found, else as designed."""
        return self.length_um if self.as_found_length_um is None else self.as_found_length_um

    @property
    def found_length_m(self) -> float:
        return self.found_length_um / 1_000_000

    @property
    def found_size(self) -> CableSize:
        """The size to reckon with: as found, else as designed."""
        return self.cable_size if self.as_found_size is None else self.as_found_size

    @property
    def is_extracted(self) -> bool:
        return self.was_extracted_before_start or self.extracted_at is not None
