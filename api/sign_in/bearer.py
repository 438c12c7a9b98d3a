"""A request that shows a token, in its header and nowhere else: an address or a form would be logged."""

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from api.models import SystemToken, User
from api.sign_in.scopes import SCOPES
from api.sign_in.systems import find_token

TOKEN_ADDRESS = "/api/v1/oauth/token"


class BearerAuthentication(BaseAuthentication):
    """Signs a system in by its token (RFC 6750)."""

    def authenticate(self, request: Request) -> tuple[User, SystemToken] | None:
        kind, _, text = request.headers.get("Authorization", "").partition(" ")
        if kind.lower() != "bearer":
            return None
        token = find_token(text.strip(), now=timezone.now())
        if token is None:
            raise AuthenticationFailed("The token is unknown, has expired or was revoked; ask for another.")
        return token.client.user, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="spanstock"'


class BearerScheme(OpenApiAuthenticationExtension):
    """How the published description tells of it."""

    target_class = BearerAuthentication
    name = "system"

    def get_security_definition(self, auto_schema: object) -> dict[str, object]:
        flow = {"tokenUrl": TOKEN_ADDRESS, "scopes": SCOPES}
        return {"type": "oauth2", "flows": {"clientCredentials": flow}}
