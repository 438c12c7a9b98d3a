"""A material's cost formula is set where IAS 2 allows it, before any is held."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from inventory.models import Material
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]


@pytest.mark.outside_check(
    "IAS 2 paragraphs 23-24: specific cost for what is not interchangeable only; how known: from memory"
)
def test_specific_cost_is_set_for_reels_and_refused_for_interchangeable_goods(
    client_of: ClientOf, office: Office
) -> None:
    accounts = client_of("accounts")
    Material.objects.create(
        code="pin-500", name="Pin", kind="fitting", stock_unit="1", fitting_role="pressure_end"
    )
    address = "/api/v1/materials/{}/cost-formula"
    reel = accounts.put(address.format(office.world.fibre.code), {"cost_formula": "specific"}, format="json")
    assert assert_answer("set_cost_formula", reel)["cost_formula"] == "specific"
    refused = accounts.put(address.format("pin-500"), {"cost_formula": "specific"}, format="json")
    assert_refusal(refused, 400, "bad_input", "/cost_formula")
    assert "IAS 2.24" in refused.content.decode()
    assert Material.objects.get(code="pin-500").cost_formula == "weighted_average"
    unknown = accounts.put(address.format("pin-500"), {"cost_formula": "lifo"}, format="json")
    assert_refusal(unknown, 400, "bad_input", "/cost_formula")
    as_it_is = office.world.fluid.cost_formula
    again = accounts.put(address.format("fluid"), {"cost_formula": as_it_is}, format="json")
    assert_answer("set_cost_formula", again)
    held = {"fifo": "weighted_average", "weighted_average": "fifo"}[as_it_is]
    used = accounts.put(address.format("fluid"), {"cost_formula": held}, format="json")
    assert_refusal(used, 409, "cost_formula_in_use")
    stores = client_of("stores").put(address.format("pin-500"), {"cost_formula": "fifo"}, format="json")
    assert stores.status_code == 403
