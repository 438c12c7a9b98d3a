"""What the company sets and has learnt, through REST and GraphQL."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import DomainEvent, Material
from jobs.models import CableSize, EstimatingPolicy, KitPolicy, LearntFit, LearntSize
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.jobs import make_size

ClientOf = Callable[[str], APIClient]
KITS, ESTIMATES = "/api/v1/kit-policy", "/api/v1/estimating-policy"


def _change(client: APIClient, address: str, **changes: Any) -> Any:
    standing = client.get(address)
    tag = {"HTTP_IF_MATCH": standing["ETag"]}
    return client.put(address, {**standing.json(), **changes}, format="json", **tag)


def _quantity(value: str, unit: str) -> dict[str, str]:
    return {"value": value, "unit": unit}


def test_planner_sets_the_kit_policy_and_kits_follow(client_of: ClientOf, office: Office) -> None:
    planner = client_of("planner")
    assert_answer("get_kit_policy", planner.get(KITS))
    pail = Material.objects.create(code="pail", name="Pail", kind="supply", stock_unit="1")
    response = _change(
        planner,
        KITS,
        useful_remnant=_quantity("300", "[ft_i]"),
        vessel_material=pail.code,
        sealed_reel_cost=25,
    )
    body = assert_answer("set_kit_policy", response)
    assert body["useful_remnant"] == {"value": "91.440000", "unit": "m"}
    policy = KitPolicy.objects.get()
    assert (policy.useful_remnant_m, policy.sealed_reel_cost) == (pytest.approx(91.44), 25)
    assert policy.vessel_material == pail
    event = DomainEvent.objects.get(kind="company_settings_changed")
    assert set(event.body["before"]) == {"useful_remnant_m", "vessel_material", "sealed_reel_cost"}
    asked = ask(planner, "{ kitPolicy { usefulRemnant { value unit } vesselMaterial taggedMaterials } }")
    assert asked["kitPolicy"]["usefulRemnant"] == body["useful_remnant"]


def test_settings_sent_again_change_nothing_and_tell_nothing(client_of: ClientOf, office: Office) -> None:
    planner = client_of("planner")
    for address in (KITS, ESTIMATES):
        before = planner.get(address)
        after = _change(planner, address)
        assert (after.status_code, after["ETag"]) == (200, before["ETag"])
    assert not DomainEvent.objects.filter(kind="company_settings_changed").exists()


def test_settings_want_the_version_that_was_seen(client_of: ClientOf, office: Office) -> None:
    planner = client_of("planner")
    body = planner.get(KITS).json()
    assert planner.put(KITS, body, format="json").status_code == 428
    old = {"HTTP_IF_MATCH": '"old"'}
    assert planner.put(KITS, body, format="json", **old).status_code == 412


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"quantile": 0}, "/quantile"),
        ({"quantile": 1}, "/quantile"),
        ({"injected_ratio_sd": -0.1}, "/injected_ratio_sd"),
        ({"caught_fraction_sd": -1}, "/caught_fraction_sd"),
        ({"recovered_fraction_sd": "-0.5"}, "/recovered_fraction_sd"),
        ({"injected_ratio_mean": 0.9}, "/injected_ratio_mean"),
        ({"caught_fraction_mean": 0.95}, "/caught_fraction_mean"),
        ({"passes_per_run": [0.5, 0.4]}, "/passes_per_run"),
        ({"tail": _quantity("-1", "m")}, "/tail"),
        ({"tail": _quantity("1", "kg")}, "/tail/unit"),
        ({"fluid": "velvet"}, "/fluid"),
        ({"fluid": "fibre-48"}, "/fluid"),
        ({"sets_in_use": 0}, "/sets_in_use"),
    ],
)
def test_estimates_name_what_is_wrong_and_store_nothing(
    client_of: ClientOf, office: Office, changes: dict[str, Any], pointer: str
) -> None:
    before = list(EstimatingPolicy.objects.values())
    response = _change(client_of("planner"), ESTIMATES, **changes)
    assert_refusal(response, 400, "bad_input", pointer)
    assert list(EstimatingPolicy.objects.values()) == before


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"stub": _quantity("-1", "m")}, "/stub"),
        ({"vessel_capacity": _quantity("0", "L")}, "/vessel_capacity"),
        ({"useful_remnant": _quantity("-1", "m")}, "/useful_remnant"),
        ({"open_reel_cost": 0}, "/open_reel_cost"),
        ({"vessel_material": "fluid"}, "/vessel_material"),
        ({"tagged_materials": ["fluid"]}, "/tagged_materials/0"),
        ({"seals_per_run": -1}, "/seals_per_run"),
    ],
)
def test_kit_policy_names_what_is_wrong_and_stores_nothing(
    client_of: ClientOf, office: Office, changes: dict[str, Any], pointer: str
) -> None:
    before = list(KitPolicy.objects.values())
    assert_refusal(_change(client_of("planner"), KITS, **changes), 400, "bad_input", pointer)
    assert list(KitPolicy.objects.values()) == before


def test_safety_sets_what_may_be_lifted_and_the_cautions_and_nothing_else(
    client_of: ClientOf, office: Office
) -> None:
    lighter = {"lifting_limit": _quantity("20", "kg")}
    assert _change(client_of("planner"), KITS, **lighter).status_code == 403
    assert _change(client_of("safety"), KITS, **lighter).status_code == 200
    assert _change(client_of("safety"), KITS, seals_per_run=3).status_code == 403
    words = {"cautions": ["Keep the gate shut."]}
    assert _change(client_of("planner"), ESTIMATES, **words).status_code == 403
    assert _change(client_of("safety"), ESTIMATES, **words).status_code == 200
    assert KitPolicy.objects.get().lifting_limit_kg == 20


def _learn(size: CableSize | None, **values: Any) -> LearntSize:
    at = datetime(2026, 3, 1, tzinfo=UTC)
    fit, _is_new = LearntFit.objects.get_or_create(
        subject="injected_ratio",
        made_at=at,
        defaults={
            "inputs_hash": "a",
            "first_at": datetime(2026, 1, 5, tzinfo=UTC),
            "last_at": at,
            "reading_count": 9,
            "covered_count": 12,
            "prior": {"mean": 1.25},
            "between_sd": 0.04,
        },
    )
    shown = {"mean": 1.22, "sd": 0.1, "mean_sd": 0.03, "low": 1.05, "high": 1.4, **values}
    return LearntSize.objects.create(fit=fit, cable_size=size, **shown)


def test_learnt_fits_tell_size_interval_counts_and_period(client_of: ClientOf, office: Office) -> None:
    _learn(None)
    _learn(make_size(".625", 14.351), covered_count=5)
    _learn(make_size(), covered_count=7)
    crew = client_of("crew")
    (fit,) = assert_answer("list_learnt_fits", crew.get("/api/v1/learnt-fits"))["results"]
    assert (fit["subject"], fit["reading_count"], fit["covered_count"]) == ("injected_ratio", 9, 12)
    assert (fit["first_at"][:10], fit["last_at"][:10]) == ("2026-01-05", "2026-03-01")
    assert [row["cable_size"] for row in fit["sizes"]] == [".500", ".625", None]
    assert (fit["sizes"][0]["low"], fit["sizes"][0]["high"]) == (1.05, 1.4)
    question = "{ learntFits { subject firstAt coveredCount sizes { cableSize mean low high } } }"
    (asked,) = ask(crew, question)["learntFits"]
    assert [row["cableSize"] for row in asked["sizes"]] == [".500", ".625", None]
    assert asked["firstAt"] == fit["first_at"]


def test_learnt_fits_take_as_many_queries_for_one_size_as_for_ten(
    client_of: ClientOf, office: Office
) -> None:
    crew = client_of("crew")
    _learn(make_size())
    counts = []
    for more in (0, 9):
        for number in range(more):
            _learn(make_size(f".90{number}", 20.0))
        with CaptureQueriesContext(connection) as queries:
            assert crew.get("/api/v1/learnt-fits").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_check_lists_are_read_over_graphql(client_of: ClientOf, office: Office) -> None:
    asked = ask(client_of("crew"), "{ checkLists { gear { name occasion } protective { name pieces } } }")
    assert "Spill kit" in {item["name"] for item in asked["checkLists"]["gear"]}
