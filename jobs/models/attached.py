"""Papers and photos that belong to what was told, received or laid down."""

from django.db import models
from django.db.models import Q

from inventory.models import Actor, Material, Receipt, WasteManifest
from jobs.models.report import FieldReport
from jobs.models.safety import Incident


class StoredFile(models.Model):
    """One content, kept once whoever sent it how often; its hash is its name in the data directory.

    The file is in its place before this row is committed, so there is no row without a file. A file
    without a row is what a crash leaves; it is swept away later.
    """

    class Type(models.TextChoices):
        JPEG = "image/jpeg", "photo"
        PNG = "image/png", "picture"
        PDF = "application/pdf", "paper"

    sha256 = models.CharField(max_length=64, unique=True)
    media_type = models.CharField(max_length=40, choices=Type.choices)
    size = models.PositiveIntegerField()
    # Pixels, for pictures.
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(size__gt=0), name="stored_file_is_not_empty"),
        ]

    def __str__(self) -> str:
        return self.sha256


class AttachedDocument(models.Model):
    """A file on one thing, under the id of its sender. Whoever sees the thing sees the document.

    `sent_sha256` is of what was sent; a photo is stored smaller and without what the camera wrote into it
    beside the picture, such as where it was taken.
    """

    uuid = models.UUIDField(unique=True)
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="documents")
    name = models.CharField(max_length=200)
    sent_sha256 = models.CharField(max_length=64)
    report = models.ForeignKey(FieldReport, on_delete=models.PROTECT, null=True, related_name="documents")
    incident = models.ForeignKey(Incident, on_delete=models.PROTECT, null=True, related_name="documents")
    receipt = models.ForeignKey(Receipt, on_delete=models.PROTECT, null=True, related_name="documents")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="documents")
    manifest = models.ForeignKey(WasteManifest, on_delete=models.PROTECT, null=True, related_name="documents")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        verbose_name = "document"
        constraints = [
            models.CheckConstraint(
                condition=Q(report__isnull=False, incident=None, receipt=None, material=None, manifest=None)
                | Q(report=None, incident__isnull=False, receipt=None, material=None, manifest=None)
                | Q(report=None, incident=None, receipt__isnull=False, material=None, manifest=None)
                | Q(report=None, incident=None, receipt=None, material__isnull=False, manifest=None)
                | Q(report=None, incident=None, receipt=None, material=None, manifest__isnull=False),
                name="document_hangs_on_one_thing",
            )
        ]

    def __str__(self) -> str:
        return self.name
