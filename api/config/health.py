"""Addresses that a supervisor or a load balancer asks: is the process up, and may it be sent work."""

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from api.config.lateness import is_broker_reached, measure_lateness
from inventory.models.triggers import find_missing_triggers


@require_safe
@never_cache
def show_live(request: HttpRequest) -> JsonResponse:
    """The process answers. Says nothing of the database, so that its failure restarts no web process."""
    return JsonResponse({"status": "live"})


@require_safe
@never_cache
def show_ready(request: HttpRequest) -> JsonResponse:
    """The database answers and the triggers that keep the book immutable stand; 503 otherwise.

    A broker that is away and work that is late are warnings: this process answers all the same, and taking
    it out of service would help neither. All is said in a word each, without names of hosts or tables, since
    anyone may ask.
    """
    faults = _faults()
    if faults:
        return JsonResponse({"status": "not ready", "faults": faults}, status=503)
    return JsonResponse({"status": "ready", "warnings": _warnings()})


def _warnings() -> list[str]:
    away = [] if is_broker_reached() else ["broker_unreachable"]
    try:
        return away + measure_lateness().warnings()
    except DatabaseError:
        return [*away, "lateness_unknown"]


def _faults() -> list[str]:
    try:
        are_missing = bool(find_missing_triggers(connection))
    except DatabaseError:
        return ["database_unreachable"]
    return ["triggers_missing"] if are_missing else []
