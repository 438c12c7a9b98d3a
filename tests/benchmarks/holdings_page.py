"""A page of 50 holdings with material, place and container: both doors beside a bare view of the same SQL.

The bare view runs one query that joins what the doors show, builds the same rows and writes JSON; it asks for
no sign-in, counts no requests and knows no roles. All three are asked in turn through the same handler with
all its middleware, signed in, so that whatever else the machine does meets all three alike.
"""

import json
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from django.core.cache import cache
from django.http import HttpRequest, JsonResponse
from django.test import Client, override_settings
from django.urls import path
from rest_framework.throttling import SimpleRateThrottle

from api.config.urls import urlpatterns as own_patterns
from inventory.models import Holding
from tests.benchmarks.measurement import Measurement
from tests.factories.accounts import make_office

ROWS, TURNS, WARM_UP = 100, 200, 10
BARE = "bare-holdings"
QUERY = """{ holdings(first: 50) { edges { node {
    id quantity { value unit } isUnsettled countedAt
    material { code name } place { code name kind } container { label } owner { code name }
} } pageInfo { endCursor } } }"""


def show_bare(_request: HttpRequest) -> JsonResponse:
    """Fifty rows as a Django view writes them by hand."""
    rows = Holding.objects.filter(place__kind__in=("warehouse", "bin", "vehicle", "site", "transit"))
    found = rows.exclude(quantity=0).select_related("place", "material", "owner", "container").order_by("key")
    return JsonResponse({"results": [_write(row) for row in found[:50]]})


def _write(row: Holding) -> dict[str, Any]:
    return {
        "id": row.key,
        "place": {"code": row.place.code, "name": row.place.name, "kind": row.place.kind},
        "material": {"code": row.material.code, "name": row.material.name},
        "owner": {"code": row.owner.code, "name": row.owner.name},
        "container": row.container.label if row.container else None,
        "quantity": {"value": f"{row.quantity / 1_000_000:.6f}", "unit": row.material.stock_unit},
        "is_unsettled": row.is_unsettled,
        "counted_at": row.counted_at.isoformat() if row.counted_at else None,
    }


urlpatterns = [path(BARE, show_bare), *own_patterns]


def main() -> list[Measurement]:
    office = make_office()
    for number in range(ROWS):
        office.world.drum(f"B-{number:04}", 55, cost=550)
    client = Client()
    client.force_login(office.users["planner"])
    ways: dict[str, Callable[[], Any]] = {
        "bare view": partial(client.get, f"/{BARE}"),
        "REST": partial(client.get, "/api/v1/holdings?limit=50"),
        "GraphQL": partial(
            client.post, "/graphql", json.dumps({"query": QUERY}), content_type="application/json"
        ),
    }
    with override_settings(ROOT_URLCONF=__name__, ALLOWED_HOSTS=["testserver"]):
        taken = _time(ways)
    bare, rest, graphql = (_percentile(taken[name], 0.95) for name in ways)
    return [
        Measurement(what="bare view, p95", value=bare * 1000, unit="ms"),
        Measurement(what="REST, p95", value=rest * 1000, unit="ms"),
        Measurement(what="GraphQL, p95", value=graphql * 1000, unit="ms"),
        Measurement(what="REST over the bare view", value=rest / bare, unit="", at_most=3),
        Measurement(what="GraphQL over the bare view", value=graphql / bare, unit="", at_most=6),
    ]


def _time(ways: dict[str, Callable[[], Any]]) -> dict[str, list[float]]:
    """Seconds of each request by way, taken in turn."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    SimpleRateThrottle.THROTTLE_RATES = {**SimpleRateThrottle.THROTTLE_RATES, "user": "1000000/min"}
    cache.clear()
    for turn in range(WARM_UP + TURNS):
        for name, ask in ways.items():
            began = time.perf_counter()
            answer = ask()
            took = time.perf_counter() - began
            if answer.status_code != 200 or len(_rows(answer.json())) != 50:
                raise AssertionError(f"{name}: {answer.content[:300]!r}")
            if turn >= WARM_UP:
                taken[name].append(took)
    return taken


def _rows(body: dict[str, Any]) -> list[Any]:
    rows: list[Any] = body["results"] if "results" in body else body["data"]["holdings"]["edges"]
    return rows


def _percentile(values: list[float], share: float) -> float:
    return sorted(values)[int(share * len(values))]
