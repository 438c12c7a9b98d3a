"""Every sign-in, sign-out and failed sign-in of a person is logged, whichever door it came through."""

import logging
from typing import Any

from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.dispatch import receiver
from django.http import HttpRequest

from api.models import User
from api.sign_in.people import find_address

logger = logging.getLogger(__name__)


@receiver(user_logged_in)
def log_sign_in(sender: Any, request: HttpRequest | None, user: User, **kwargs: Any) -> None:
    logger.info("signed in", extra=_about("sign_in", user.username, request))


@receiver(user_logged_out)
def log_sign_out(sender: Any, request: HttpRequest | None, user: User | None, **kwargs: Any) -> None:
    logger.info("signed out", extra=_about("sign_out", user.username if user else "", request))


@receiver(user_login_failed)
def log_failure(
    sender: Any, credentials: dict[str, Any], request: HttpRequest | None = None, **kwargs: Any
) -> None:
    logger.warning("sign-in failed", extra=_about("sign_in_failed", credentials.get("username"), request))


def _about(event: str, name: Any, request: HttpRequest | None) -> dict[str, str]:
    return {"event": event, "account": str(name)[:150], "address": find_address(request)}
