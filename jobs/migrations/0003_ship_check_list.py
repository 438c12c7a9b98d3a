"""Kit settings, a check list and protective equipment as a company finds them at first, all editable.

Usual in the trade, no source.
"""

from django.db import migrations

# name, detail, occasion
CHECK_LIST = [
    ("Pump", "fuel, oil, pressure gauge and relief valve looked at", "extract"),
    ("Pressure hoses", "looked over for cuts and bulges, safety cables on", "extract"),
    ("Flow meter", "start reading noted", "extract"),
    ("Transfer pump and funnel", "", "extract"),
    ("Drum trolley or lifting gear", "full drums are never lifted by hand", "extract"),
    ("Core catcher", "and stakes for the exclusion zone", "extract"),
    ("Saw and bins for the core", "", "extract"),
    ("Compressor", "water drained, hose couplings pinned", "air"),
    ("Projectile catcher", "at the far end, before any air", "clean"),
    ("Projectile launcher", "", "clean"),
    ("Blowing machine", "drive belts and collets for this cable", "blow"),
    ("Intermediate duct", "between machine and sheath; comes back", "blow"),
    ("Reel stand", "", "blow"),
    ("Voltage tester", "60 or 90 V AC on trunk and feeder", "always"),
    ("Gas tester", "checked today; test the air before entering", "vault"),
    ("Spill kit", "absorbents, drain covers, bags", "always"),
    ("Clean-up bags and labels", "for waste drums", "always"),
    ("Cones and signs", "", "always"),
    ("Safety data sheets", "of every fluid on the truck", "always"),
    ("First aid kit and eyewash", "", "always"),
]
EQUIPMENT = [
    ("Eye protection", "always"),
    ("Gloves", "always"),
    ("Safety boots and high-visibility vest", "always"),
    ("Hearing protection", "air"),
    ("Face shield", "extract"),
    ("Harness and tripod for vaults", "vault"),
]


def ship_defaults(apps, schema_editor):
    alias = schema_editor.connection.alias
    apps.get_model("jobs", "KitPolicy").objects.using(alias).get_or_create(id=1)
    for number, (name, detail, occasion) in enumerate(CHECK_LIST, start=1):
        apps.get_model("jobs", "CheckListItem").objects.using(alias).get_or_create(
            name=name, defaults={"detail": detail, "occasion": occasion, "sequence": number * 10}
        )
    for number, (name, occasion) in enumerate(EQUIPMENT, start=1):
        apps.get_model("jobs", "ProtectiveEquipment").objects.using(alias).get_or_create(
            name=name, defaults={"occasion": occasion, "sequence": number * 10}
        )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_ship_cable_sizes_and_policy")]

    operations = [migrations.RunPython(ship_defaults, migrations.RunPython.noop)]
