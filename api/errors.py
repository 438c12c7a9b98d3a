"""Refusals on the wire: RFC 9457 problem details with a stable code, one table from codes to statuses.

`errors` names each fault by a JSON pointer into the body, or by the name of a query parameter. What a
program did wrong inside is never shown: it is logged and answered with `internal_error`.
"""

import logging
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.views.defaults import page_not_found, server_error
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from api.feed.errors import CursorGone
from api.sign_in.people import SignInLocked, SignInRefused, find_address
from api.sign_in.scopes import ScopeMissing
from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.queries.access import NotAllowed
from inventory.queries.company import NotSetUp
from inventory.services.documents import StaleVersion
from inventory.services.posting.errors import BookBusy
from jobs.services.attaching.looking import UnusableFile
from jobs.services.attaching.storing import FileMissing

logger = logging.getLogger(__name__)
PROBLEM_TYPE = "application/problem+json"
PROBLEMS_ADDRESS = "/api/v1/problems/"


class Malformed(BadInput):
    """The body is not what its media type says."""

    code = "malformed"


class TooLarge(SpanstockError):
    """The body is larger than this door takes."""

    code = "too_large"


class PreconditionMissing(SpanstockError):
    """A change must say which version of the record it is a change of."""

    code = "precondition_missing"


class KeyMissing(BadInput):
    """A creation without an id of its own needs an Idempotency-Key."""

    code = "idempotency_key_missing"


class KeyMalformed(BadInput):
    """The Idempotency-Key is no string of 1 to 255 characters in double quotes."""

    code = "idempotency_key_malformed"


class KeyInUse(SpanstockError):
    """The first request of this Idempotency-Key is still running."""

    code = "idempotency_key_in_use"


class KeyReused(SpanstockError):
    """The Idempotency-Key stands for another request."""

    code = "idempotency_key_reused"


# The nearest class in a refusal's ancestry decides. Whatever is not listed is a refusal by the state of
# things: it would have been taken at another time.
STATUSES: Mapping[type[SpanstockError], HTTPStatus] = {
    SpanstockError: HTTPStatus.CONFLICT,
    BookBusy: HTTPStatus.SERVICE_UNAVAILABLE,
    BadInput: HTTPStatus.BAD_REQUEST,
    NotAllowed: HTTPStatus.FORBIDDEN,
    NotFound: HTTPStatus.NOT_FOUND,
    TooLarge: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    PreconditionMissing: HTTPStatus.PRECONDITION_REQUIRED,
    NotSetUp: HTTPStatus.SERVICE_UNAVAILABLE,
    StaleVersion: HTTPStatus.PRECONDITION_FAILED,
    KeyReused: HTTPStatus.UNPROCESSABLE_ENTITY,
    UnusableFile: HTTPStatus.UNPROCESSABLE_ENTITY,
    FileMissing: HTTPStatus.SERVICE_UNAVAILABLE,
    CursorGone: HTTPStatus.GONE,
    ScopeMissing: HTTPStatus.FORBIDDEN,
    SignInRefused: HTTPStatus.UNAUTHORIZED,
    SignInLocked: HTTPStatus.TOO_MANY_REQUESTS,
}
# What the framework refuses before any of our code runs: code and title by its class, nearest first.
FRAMEWORK_CODES: tuple[tuple[type[exceptions.APIException], str, str], ...] = (
    (exceptions.ParseError, "malformed", "The body is not what its media type says."),
    (exceptions.NotAuthenticated, "not_authenticated", "Sign in first."),
    (exceptions.AuthenticationFailed, "authentication_failed", "The sign-in is not valid."),
    (exceptions.PermissionDenied, "not_allowed", "The asker may not do this."),
    (exceptions.NotFound, "not_found", "There is nothing at this address for the asker."),
    (exceptions.MethodNotAllowed, "method_not_allowed", "This address does not take that method."),
    (exceptions.NotAcceptable, "not_acceptable", "The answer does not exist in the form asked for."),
    (exceptions.UnsupportedMediaType, "unsupported_media_type", "The body must be application/json."),
    (exceptions.Throttled, "throttled", "Too many requests; wait and send again."),
)
LOGGED = frozenset(
    {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN, HTTPStatus.NOT_FOUND, HTTPStatus.TOO_MANY_REQUESTS}
)
INTERNAL = ("internal_error", "The service failed; the fault has been logged and nothing was stored.")


def problem(refusal: SpanstockError) -> dict[str, Any]:
    """A refusal as a problem object."""
    return _problem(
        code=refusal.code,
        title=title_of(type(refusal)),
        status=status_of(refusal),
        detail=refusal.message,
        faults=refusal.faults,
    )


def status_of(refusal: SpanstockError) -> HTTPStatus:
    """The status of a refusal, by its nearest class in the table."""
    return _status_of_class(type(refusal))


def title_of(kind: type[SpanstockError]) -> str:
    """What this sort of refusal says in general: the first sentence of its class."""
    return " ".join((kind.__doc__ or "").split("\n\n")[0].split())


def list_problems() -> list[dict[str, Any]]:
    """Every code this service can answer with, with its status and title."""
    found = {
        kind.code: {"code": kind.code, "status": _status_of_class(kind).value, "title": title_of(kind)}
        for kind in _refusals(SpanstockError)
    }
    for framework, code, title in FRAMEWORK_CODES:
        found.setdefault(code, {"code": code, "status": framework.status_code, "title": title})
    found[INTERNAL[0]] = {"code": INTERNAL[0], "status": 500, "title": INTERNAL[1]}
    return [found[code] for code in sorted(found)]


def answer_exception(exception: Exception, context: Mapping[str, Any]) -> Response | None:
    """Turn what a view raised into a problem; None for what is a fault of ours, which is raised on."""
    if isinstance(exception, SpanstockError):
        log_refusal(exception.code, status_of(exception), context.get("request"))
        wait_s = exception.retry_after_s if isinstance(exception, SignInLocked) else 0
        return _respond(problem(exception), {"Retry-After": str(wait_s)} if wait_s else None)
    if isinstance(exception, Http404):
        exception = exceptions.NotFound()
    elif isinstance(exception, PermissionDenied):
        exception = exceptions.PermissionDenied()
    if not isinstance(exception, exceptions.APIException):
        return None
    headers = {}
    if getattr(exception, "auth_header", None):
        headers["WWW-Authenticate"] = str(exception.auth_header)  # type: ignore[attr-defined]
    wait: float | None = getattr(exception, "wait", None)
    if wait is not None:
        headers["Retry-After"] = str(max(1, -int(-wait // 1)))
    body = framework_problem(exception)
    log_refusal(body["code"], HTTPStatus(body["status"]), context.get("request"))
    return _respond(body, headers)


def log_refusal(code: str, status: HTTPStatus, request: Any) -> None:
    """Log who was refused what. Not found counts: what one may not see is answered like that."""
    if status not in LOGGED or request is None:
        return
    # Reading `request.user` would try the sign-in again that has just failed.
    user = getattr(request, "_user", None) if isinstance(request, Request) else request.user
    about = {"event": "refused", "code": code, "status": status.value, "method": request.method}
    about |= {"path": request.path[:200], "account": getattr(user, "username", "")}
    logger.warning("refused", extra={**about, "address": find_address(request)})


def framework_problem(exception: exceptions.APIException) -> dict[str, Any]:
    """What the framework refused, in the same shape."""
    for kind, code, title in FRAMEWORK_CODES:
        if isinstance(exception, kind):
            return _problem(
                code=code, title=title, status=HTTPStatus(exception.status_code), detail=str(exception.detail)
            )
    return _problem(
        code="refused",
        title="Refused.",
        status=HTTPStatus(exception.status_code),
        detail="The request is refused.",
    )


def show_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an address that leads nowhere, in the form of the door it would have been behind."""
    if not _is_for_programs(request):
        return page_not_found(request, exception)
    return JsonResponse(
        framework_problem(exceptions.NotFound()), status=HTTPStatus.NOT_FOUND, content_type=PROBLEM_TYPE
    )


def show_fault(request: HttpRequest) -> HttpResponse:
    """Answer a fault of ours without a word of what it was."""
    if not _is_for_programs(request):
        return server_error(request)
    code, title = INTERNAL
    status = HTTPStatus.INTERNAL_SERVER_ERROR
    body = _problem(code=code, title=title, status=status, detail=title)
    return JsonResponse(body, status=status, content_type=PROBLEM_TYPE)


def fault_json(fault: Fault) -> dict[str, Any]:
    """One fault; the line is that of a sheet."""
    found: dict[str, Any] = {"pointer": fault.pointer, "value": fault.value, "detail": fault.message}
    return found if fault.line is None else {**found, "line": fault.line}


def _problem(
    *, code: str, title: str, status: HTTPStatus, detail: str, faults: tuple[Fault, ...] = ()
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "type": f"{PROBLEMS_ADDRESS}{code}",
        "title": title,
        "status": status.value,
        "detail": detail,
        "code": code,
    }
    if faults:
        found["errors"] = [fault_json(fault) for fault in faults]
    return found


def _respond(body: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    return Response(body, status=body["status"], headers=headers, content_type=PROBLEM_TYPE)


def _status_of_class(kind: type[SpanstockError]) -> HTTPStatus:
    return next(STATUSES[parent] for parent in kind.__mro__ if parent in STATUSES)


def _refusals(kind: type[SpanstockError]) -> Iterator[type[SpanstockError]]:
    yield kind
    for child in kind.__subclasses__():
        yield from _refusals(child)


def _is_for_programs(request: HttpRequest) -> bool:
    return request.path.startswith(("/api/", "/graphql"))
