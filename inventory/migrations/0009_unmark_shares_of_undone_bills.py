"""Bills that were undone before shares were unmarked with them keep none as booked any more."""

from django.db import migrations
from django.db.models import Exists, OuterRef, Q


def unmark_shares(apps, schema_editor):
    """Those that the undoing took back; what it took out of price variance instead stays as it is."""
    undoing = apps.get_model("inventory", "Movement").objects.filter(
        Q(source_place=OuterRef("place")) | Q(target_place=OuterRef("place")),
        entry__reverses=OuterRef("line__invoice__entry"),
    )
    shares = apps.get_model("inventory", "InvoiceShare").objects
    shares.filter(Exists(undoing), line__invoice__undone_at__isnull=False).update(is_booked_there=False)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0008_keep_rejected_batches"),
    ]

    operations = [migrations.RunPython(unmark_shares, migrations.RunPython.noop)]
