"""What is shipped about cores."""

import pytest

from jobs.calc.core_mass import core_mass_g_per_m
from jobs.models import CableSize, CoreMass

pytestmark = pytest.mark.django_db


def test_shipped_core_masses_are_those_of_the_calculation() -> None:
    masses = {row.cable_size_id: row for row in CoreMass.objects.all()}
    sizes = list(CableSize.objects.all())
    assert len(sizes) >= 13
    for size in sizes:
        assert masses[size.pk].grams_per_m == pytest.approx(
            core_mass_g_per_m(bore_mm=size.nominal_bore_mm), abs=0.05
        )
        assert not masses[size.pk].is_measured
