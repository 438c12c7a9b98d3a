"""Which share of its cost a recovered fluid brings back."""

from decimal import Decimal

import pytest

from inventory.errors import BadInput
from inventory.models import Material
from inventory.services.recovery_policy import set_recovered_value_share
from tests.factories.jobs import make_fluid

pytestmark = pytest.mark.django_db


@pytest.fixture
def back() -> Material:
    recovered = make_fluid("glide-back")
    recovered.recovered_from = make_fluid("glide")
    recovered.save()
    return recovered


def test_set_recovered_value_share_keeps_it_in_millionths(back: Material) -> None:
    set_recovered_value_share(material_code="glide-back", share=Decimal("0.6"))
    back.refresh_from_db()
    assert back.recovered_value_share == 600_000


@pytest.mark.parametrize("share", ["-0.1", "1.000001", "0.0000001"])
def test_set_recovered_value_share_refuses_what_is_no_share(back: Material, share: str) -> None:
    with pytest.raises(BadInput, match="is not a share from 0 to 1"):
        set_recovered_value_share(material_code="glide-back", share=Decimal(share))


@pytest.mark.usefixtures("back")
@pytest.mark.parametrize("code", ["glide", "nothing"])
def test_set_recovered_value_share_is_for_recovered_fluids(code: str) -> None:
    with pytest.raises(BadInput, match="is no material here that is recovered"):
        set_recovered_value_share(material_code=code, share=Decimal("0.5"))
