"""Addresses that a supervisor or a load balancer asks: is the process up, and may it be sent work."""

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

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

    What is wrong is said in a word each, without names of hosts or tables, since anyone may ask.
    """
    faults = _faults()
    if faults:
        return JsonResponse({"status": "not ready", "faults": faults}, status=503)
    return JsonResponse({"status": "ready"})


def _faults() -> list[str]:
    try:
        are_missing = bool(find_missing_triggers(connection))
    except DatabaseError:
        return ["database_unreachable"]
    return ["triggers_missing"] if are_missing else []
