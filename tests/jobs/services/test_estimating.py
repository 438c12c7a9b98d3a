"""Setting what the company reckons with."""

import pytest

from inventory.errors import BadInput
from jobs.models import EstimatingPolicy
from jobs.services.estimating import set_fluid
from tests.factories.jobs import make_fluid

pytestmark = pytest.mark.django_db


def test_set_fluid_stands_in_the_policy() -> None:
    fluid = make_fluid("glide")
    set_fluid(material_code="glide")
    assert EstimatingPolicy.objects.get().fluid == fluid


def test_set_fluid_refuses_recovered_and_unknown_ones() -> None:
    recovered = make_fluid("glide-back")
    recovered.recovered_from = make_fluid("glide")
    recovered.save()
    for code in ("glide-back", "nothing"):
        with pytest.raises(BadInput, match="is no fresh fluid"):
            set_fluid(material_code=code)
