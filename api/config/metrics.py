"""Numbers for a Prometheus server: what this process answered, and how late background work is.

Each web process counts for itself; where there are several, each is asked at an address of its own.
"""

import time
from collections.abc import Callable, Iterator

from django.http import HttpRequest, HttpResponse
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4
from prometheus_client.registry import Collector
from rest_framework.request import Request

from api.config.lateness import is_broker_reached, measure_lateness
from api.wire.door import Door
from jobs.queries.access import require_sees_all_work

REGISTRY = CollectorRegistry()
ANSWERS = Counter("spanstock_answers", "Requests answered", ["method", "route", "status"], registry=REGISTRY)
SECONDS = Histogram(
    "spanstock_answer_seconds", "Time from request to answer", ["method", "route"], registry=REGISTRY
)
# Whatever else a client writes there must not make a row of its own.
METHODS = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})


class Measured:
    """Middleware: counts and times each answer under its route, never under the address itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        response = self.get_response(request)
        match = request.resolver_match
        route = match.route if match is not None else "none"
        method = request.method if request.method in METHODS else "other"
        ANSWERS.labels(method, route, response.status_code).inc()
        SECONDS.labels(method, route).observe(time.perf_counter() - began)
        return response


class Backlog(Collector):
    """What stands in the tables, read when it is asked for."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        late = measure_lateness()
        values = {
            "spanstock_sealed_until": ("Sequence of the last seal", late.sealed_until),
            "spanstock_unsealed": ("Entries and events that wait to be sealed", late.unsealed),
            "spanstock_seal_age_seconds": ("Age of the oldest of them", late.seal_age_s),
            "spanstock_feed_lag": ("Seals that the slowest webhook target was not told of", late.feed_lag),
            "spanstock_feed_age_seconds": ("Age of the oldest of them", late.feed_age_s),
            "spanstock_webhooks_waiting": ("Deliveries on their way", late.waiting),
            "spanstock_webhooks_overdue_seconds": ("How long the oldest of them is due", late.overdue_s),
            "spanstock_webhooks_parked": ("Deliveries that were given up", late.parked),
            "spanstock_broker_up": ("Whether the broker is reached", int(is_broker_reached())),
        }
        for name, (about, value) in values.items():
            yield GaugeMetricFamily(name, about, value=value)


REGISTRY.register(Backlog())


class Metrics(Door):
    """The numbers, for who sees all work; a server signs in as a system with the scope `read`."""

    def get(self, request: Request) -> HttpResponse:
        require_sees_all_work(self.viewer)
        return HttpResponse(generate_latest(REGISTRY), content_type=CONTENT_TYPE_PLAIN_0_0_4)
