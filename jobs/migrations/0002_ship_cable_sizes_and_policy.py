"""The thirteen sizes of trunk and feeder cable as defaults a company edits, and the estimating policy's row.

Recalled nominal values in inches (common practice; the standard's own table was not at hand). The bore is
the outside diameter less two walls. How sound each row is stands beside it.
"""

from django.db import migrations

# designation, outside diameter, wall [in], confidence
SIZES = [
    (".412", 0.412, 0.0240, "weak"),
    (".500", 0.500, 0.0240, "sound"),
    (".540", 0.540, 0.0135, "sound"),
    (".565", 0.565, 0.0210, "weak"),
    (".625", 0.625, 0.0300, "sound"),
    (".715", 0.715, 0.0145, "sound"),
    (".750", 0.750, 0.0350, "sound"),
    (".840", 0.840, 0.0275, "weak"),
    (".860", 0.860, 0.0165, "medium"),
    (".875", 0.875, 0.0380, "sound"),
    ("1.000", 1.000, 0.0460, "medium"),
    ("1.125", 1.125, 0.0205, "medium"),
    ("1.160", 1.160, 0.0360, "weak"),
]
MM_PER_INCH = 25.4


def ship_defaults(apps, schema_editor):
    CableSize = apps.get_model("jobs", "CableSize")
    for designation, outside_in, wall_in, confidence in SIZES:
        CableSize.objects.using(schema_editor.connection.alias).get_or_create(
            designation=designation,
            defaults={
                "outside_diameter_mm": round(outside_in * MM_PER_INCH, 4),
                "wall_mm": round(wall_in * MM_PER_INCH, 4),
                "nominal_bore_mm": round((outside_in - 2 * wall_in) * MM_PER_INCH, 4),
                "confidence": confidence,
            },
        )
    apps.get_model("jobs", "EstimatingPolicy").objects.using(schema_editor.connection.alias).get_or_create(
        id=1
    )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_lay_down_jobs")]

    operations = [migrations.RunPython(ship_defaults, migrations.RunPython.noop)]
