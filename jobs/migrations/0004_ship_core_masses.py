"""What a metre of core weighs, for the shipped sizes, as defaults a company edits once it has weighed one.

Reckoned from nominal dimensions: the dielectric fills the bore; the conductor follows from 75 ohm and a
velocity of 0.87, which the size's plant is made for; how much plastic is in the foam from its permittivity
(Looyenga's rule). Copper-clad aluminium, a tenth copper by volume, 3320 kg/m3 (ASTM B566 class 10A, from
memory); polyethylene 920 kg/m3 and 2.28 (handbooks, from memory). Nobody has weighed any of them.
"""

from math import exp, pi

from django.db import migrations

VELOCITY, IMPEDANCE_OHM = 0.87, 75.0
SOLID_PERMITTIVITY, SOLID_KG_PER_M3, CONDUCTOR_KG_PER_M3 = 2.28, 920.0, 3320.0
SOURCE = "reckoned from nominal dimensions, 75 ohm and a velocity of 0.87; nobody has weighed it"


def grams_per_m(bore_mm):
    permittivity = VELOCITY**-2
    conductor_mm = bore_mm * exp(-IMPEDANCE_OHM * permittivity**0.5 / 59.96)
    solid = (permittivity ** (1 / 3) - 1) / (SOLID_PERMITTIVITY ** (1 / 3) - 1)
    dielectric_mm2 = pi / 4 * (bore_mm**2 - conductor_mm**2)
    conductor_mm2 = pi / 4 * conductor_mm**2
    # A square millimetre over a metre is a millionth of a cubic metre: kg/m3 are mg.
    return (dielectric_mm2 * solid * SOLID_KG_PER_M3 + conductor_mm2 * CONDUCTOR_KG_PER_M3) / 1000


def ship_core_masses(apps, schema_editor):
    alias = schema_editor.connection.alias
    CoreMass = apps.get_model("jobs", "CoreMass")
    for size in apps.get_model("jobs", "CableSize").objects.using(alias).all():
        CoreMass.objects.using(alias).get_or_create(
            cable_size=size,
            defaults={"grams_per_m": round(grams_per_m(size.nominal_bore_mm), 1), "source": SOURCE},
        )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0003_ship_check_list")]

    operations = [migrations.RunPython(ship_core_masses, migrations.RunPython.noop)]
