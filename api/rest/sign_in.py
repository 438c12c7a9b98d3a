"""Signing in over REST: sessions for people, tokens for systems."""

from datetime import timedelta
from typing import Any, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny, BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle, ScopedRateThrottle
from rest_framework.views import APIView

from api.errors import TooLarge
from api.models import SystemToken, User
from api.sign_in.people import change_password, sign_in, sign_out
from api.sign_in.systems import make_server
from api.wire.door import Door
from api.wire.moments import moment_json
from api.wire.schemas import of
from api.wire.sign_in import PASSWORD_CHANGE, SIGN_IN
from api.wire.truck_requests import read_record
from inventory.queries.access import NotAllowed

LARGEST_FORM_BYTES = 10_000


class SessionDoor(Door):
    """The asker's own session."""

    keeps_answers = False
    throttle_scope = "sign_in"

    def get_authenticators(self) -> list[Any]:
        # Who signs in is not asked who they are, nor for the token of a session that may have ended.
        is_signing_in = self.request is not None and self.request.method == "POST"
        return [] if is_signing_in else super().get_authenticators()

    def get_permissions(self) -> list[BasePermission]:
        return [AllowAny() if self.request.method == "POST" else IsAuthenticated()]

    def get_throttles(self) -> list[BaseThrottle]:
        return [ScopedRateThrottle()] if self.request.method == "POST" else super().get_throttles()

    @extend_schema(operation_id="get_session", responses={200: OpenApiResponse(of("Session"))})
    def get(self, request: Request) -> Response:
        """Say who is signed in, and give the token that this session's writes must carry."""
        return Response(_session_json(request), headers={"Cache-Control": "no-store"})

    @extend_schema(
        operation_id="sign_in",
        auth=[{}],  # type: ignore[list-item]
        request={"application/json": of("SignIn")},
        responses={200: OpenApiResponse(of("Session"))},
    )
    def post(self, request: Request) -> Response:
        """Open a session for a person. After five failures in a quarter of an hour there is a wait."""
        values = read_record(SIGN_IN, request.data)
        user = sign_in(request._request, name=values["name"], password=values["password"])
        request.user = user
        return Response(_session_json(request), headers={"Cache-Control": "no-store"})

    @extend_schema(operation_id="sign_out", responses={204: OpenApiResponse(description="signed out")})
    def delete(self, request: Request) -> Response:
        """End the session."""
        _refuse_system(request)
        sign_out(request._request)
        return Response(status=204)


class PasswordDoor(Door):
    """The asker's own password."""

    keeps_answers = False
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "sign_in"

    @extend_schema(
        operation_id="change_password",
        request={"application/json": of("PasswordChange")},
        responses={204: OpenApiResponse(description="changed; other sessions of the person have ended")},
    )
    def put(self, request: Request) -> Response:
        """Change the password: at least twelve characters, not common, not all digits, not like the name."""
        _refuse_system(request)
        values = read_record(PASSWORD_CHANGE, request.data)
        change_password(request._request, user=self._user, current=values["current"], new=values["new"])
        return Response(status=204)


class FormParser(BaseParser):
    """Hands a form over as it stands: the protocol's library reads it."""

    media_type = "application/x-www-form-urlencoded"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        body = stream.read(LARGEST_FORM_BYTES + 1)
        if len(body) > LARGEST_FORM_BYTES:
            raise TooLarge(f"The form is larger than {LARGEST_FORM_BYTES} bytes.")
        return str(body.decode("utf-8", errors="replace"))


class ProtocolDoor(APIView):
    """An address of OAuth 2.0, whose answers and refusals are worded by its RFCs, not by ours."""

    authentication_classes = []
    permission_classes = [AllowAny]
    parser_classes = [FormParser]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "token"

    def asked(self, request: Request) -> dict[str, Any]:
        wanted = {"Authorization", "Content-Type"}
        headers = {name: value for name, value in request.headers.items() if name in wanted}
        uri = request.build_absolute_uri(request.path)
        return {"uri": uri, "http_method": "POST", "body": request.data, "headers": headers}


class TokenDoor(ProtocolDoor):
    """Where systems get tokens."""

    @extend_schema(exclude=True)
    def post(self, request: Request) -> HttpResponse:
        return _respond(*make_server().create_token_response(**self.asked(request)))


class RevocationDoor(ProtocolDoor):
    """Where systems give tokens back."""

    @extend_schema(exclude=True)
    def post(self, request: Request) -> HttpResponse:
        return _respond(*make_server().create_revocation_response(**self.asked(request)))


def _respond(headers: dict[str, str], body: str, status: int) -> HttpResponse:
    return HttpResponse(body, status=status, headers=headers)


def _refuse_system(request: Request) -> None:
    if isinstance(request.auth, SystemToken):
        raise NotAllowed("A system has no session and no password; it gives its token back instead.")


def _session_json(request: Request) -> dict[str, Any]:
    user, token = cast("User", request.user), request.auth
    crew = user.crew.code if user.crew else None
    found = {
        "name": user.username,
        "role": user.role,
        "crew": crew,
        "warehouses": sorted(user.warehouses.values_list("code", flat=True)),
    }
    if isinstance(token, SystemToken):
        return {
            **found,
            "scopes": token.scopes.split(),
            "ends_at": moment_json(token.expires_at),
            "csrf_token": None,
        }
    http_request: HttpRequest = request._request
    ends_at = http_request.session.get_expiry_date() if http_request.session.session_key else None
    ends_at = ends_at or timezone.now() + timedelta(seconds=settings.SESSION_COOKIE_AGE)
    return {**found, "scopes": None, "ends_at": moment_json(ends_at), "csrf_token": get_token(http_request)}
