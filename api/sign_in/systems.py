"""Systems sign in by OAuth 2.0 client credentials (RFC 6749, 4.4) and give tokens back (RFC 7009).

The protocol is oauthlib's: it reads the requests and words the answers. Here is what it asks of a store.
There are no refresh tokens and no other grant, so there is nothing to leave open by mistake.
"""

import hashlib
import hmac
import logging
import secrets
from base64 import b64decode
from binascii import Error as NotBase64
from datetime import datetime, timedelta
from typing import Any, cast
from urllib.parse import unquote_plus

from django.db import transaction
from django.utils import timezone
from oauthlib.oauth2 import BackendApplicationServer, RequestValidator

from api.models import SystemClient, SystemToken, User
from api.sign_in.scopes import SCOPES, read_scopes, write_scopes
from inventory.errors import BadInput, Fault, NotFound
from inventory.models import Actor

logger = logging.getLogger(__name__)
TOKEN_LIFE_S = 3600


def hash_token(token: str) -> str:
    """What is stored of a token or a secret."""
    return hashlib.sha256(token.encode()).hexdigest()


def find_token(token: str, *, now: datetime) -> SystemToken | None:
    """The token, if it was issued here, has neither expired nor been revoked, and its account is open."""
    rows = SystemToken.objects.select_related("client__user__actor", "client__user__crew")
    found = rows.filter(token_hash=hash_token(token), revoked_at=None, expires_at__gt=now).first()
    return found if found is not None and found.client.user.is_active else None


@transaction.atomic
def add_system(*, name: str, role: str, scopes: list[str], crew: Any = None) -> tuple[SystemClient, str]:
    """Make a system's account, its name in the ledger and its credentials; the secret is told this once."""
    faults = [
        Fault("--scope", scope, f"must be one of {', '.join(SCOPES)}")
        for scope in scopes
        if scope not in SCOPES
    ]
    if not scopes:
        faults.append(Fault("--scope", "", f"name at least one of {', '.join(SCOPES)}"))
    if not 0 < len(name) <= 40 or not name.isascii() or not name.replace("-", "").replace("_", "").isalnum():
        faults.append(Fault("name", name, "must be 1 to 40 letters, digits, - and _"))
    if User.objects.filter(username=name).exists() or Actor.objects.filter(code=name).exists():
        faults.append(Fault("name", name, "is taken"))
    if (role == User.Role.CREW) != (crew is not None):
        faults.append(Fault("--crew", str(crew or ""), "is needed for the role crew and given for no other"))
    if faults:
        raise BadInput.of(faults)
    actor = Actor.objects.create(code=name, name=name, kind=Actor.Kind.SYSTEM)
    user = User(username=name, role=role, crew=crew, actor=actor)
    # No password opens this account.
    user.set_unusable_password()
    user.save()
    secret = secrets.token_urlsafe(32)
    client = SystemClient.objects.create(
        user=user,
        client_id=name,
        secret_hash=hash_token(secret),
        scopes=write_scopes(scopes),
        made_at=timezone.now(),
    )
    logger.info("system added", extra={"event": "system_added", "account": name, "scopes": client.scopes})
    return client, secret


@transaction.atomic
def renew_secret(*, name: str) -> tuple[SystemClient, str]:
    """Give the system another secret and end the tokens that it got with the old one."""
    client = get_client(name)
    secret = secrets.token_urlsafe(32)
    client.secret_hash = hash_token(secret)
    client.save(update_fields=["secret_hash"])
    _revoke_all(client)
    logger.info("secret renewed", extra={"event": "secret_renewed", "account": name})
    return client, secret


@transaction.atomic
def close_system(*, name: str) -> SystemClient:
    """Close the system's account and end its tokens at once; closing it again changes nothing."""
    client = get_client(name)
    client.user.is_active = False
    client.user.save(update_fields=["is_active"])
    _revoke_all(client)
    logger.info("system closed", extra={"event": "system_closed", "account": name})
    return client


def get_client(name: str) -> SystemClient:
    client = SystemClient.objects.select_related("user").filter(client_id=name).first()
    if client is None:
        raise NotFound(f"There is no system called {name[:40]}.")
    return client


def forget_old_tokens(*, now: datetime) -> None:
    """Remove tokens that ended a day ago; until then a refusal can still be told from the log."""
    SystemToken.objects.filter(expires_at__lt=now - timedelta(days=1)).delete()


def _revoke_all(client: SystemClient) -> None:
    client.tokens.filter(revoked_at=None).update(revoked_at=timezone.now())


class ClientStore(RequestValidator):
    """What the protocol asks: who the client is, what it may ask for, where a token is kept."""

    def authenticate_client(self, request: Any, *args: Any, **kwargs: Any) -> bool:
        name, secret = _read_credentials(request)
        client = (
            SystemClient.objects.select_related("user").filter(client_id=name, user__is_active=True).first()
        )
        # Compared even where there is no such client, so that the time taken tells nothing.
        known = client.secret_hash if client is not None else "0" * 64
        if not hmac.compare_digest(known, hash_token(secret)) or client is None:
            logger.warning("system refused", extra={"event": "sign_in_failed", "account": name[:40]})
            return False
        request.client = client
        return True

    def client_authentication_required(self, request: Any, *args: Any, **kwargs: Any) -> bool:
        return True

    def authenticate_client_id(self, client_id: str, request: Any, *args: Any, **kwargs: Any) -> bool:
        return False

    def validate_grant_type(
        self, client_id: str, grant_type: str, client: Any, request: Any, *args: Any, **kwargs: Any
    ) -> bool:
        return grant_type == "client_credentials"

    def get_default_scopes(self, client_id: str, request: Any, *args: Any, **kwargs: Any) -> list[str]:
        return cast("SystemClient", request.client).scopes.split()

    def validate_scopes(
        self, client_id: str, scopes: list[str], client: Any, request: Any, *args: Any, **kwargs: Any
    ) -> bool:
        return set(scopes) <= read_scopes(cast("SystemClient", client).scopes)

    def save_token(self, token: dict[str, Any], request: Any, *args: Any, **kwargs: Any) -> None:
        client, now = cast("SystemClient", request.client), timezone.now()
        SystemToken.objects.create(
            client=client,
            token_hash=hash_token(token["access_token"]),
            scopes=write_scopes(request.scopes),
            issued_at=now,
            expires_at=now + timedelta(seconds=token["expires_in"]),
        )
        logger.info(
            "system signed in",
            extra={"event": "sign_in", "account": client.client_id, "scopes": token["scope"]},
        )

    # oauthlib calls it by this name as well.
    save_bearer_token = save_token

    def revoke_token(self, token: str, token_type_hint: str, request: Any, *args: Any, **kwargs: Any) -> None:
        client = cast("SystemClient", request.client)
        rows = client.tokens.filter(token_hash=hash_token(token), revoked_at=None)
        if rows.update(revoked_at=timezone.now()):
            logger.info("token revoked", extra={"event": "token_revoked", "account": client.client_id})


def make_server() -> BackendApplicationServer:
    """The protocol over our store."""
    return BackendApplicationServer(
        ClientStore(),
        token_generator=lambda request: secrets.token_urlsafe(32),
        token_expires_in=TOKEN_LIFE_S,
    )


def _read_credentials(request: Any) -> tuple[str, str]:
    """Name and secret from the header or the form; the header's parts are form-encoded (RFC 6749, 2.3.1)."""
    header = str(request.headers.get("Authorization", ""))
    kind, _, text = header.partition(" ")
    if kind.lower() != "basic":
        return str(request.client_id or ""), str(request.client_secret or "")
    try:
        name, _, secret = b64decode(text, validate=True).decode().partition(":")
    except (NotBase64, UnicodeDecodeError):
        return "", ""
    return unquote_plus(name), unquote_plus(secret)
