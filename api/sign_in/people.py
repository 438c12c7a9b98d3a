"""People sign in by name and password, and wait after repeated failure.

The lock is an authentication backend of Django, so it holds for every door that asks `authenticate`. An
attempt is written down before the password is looked at: of guesses sent at the same moment no more are tried
than of guesses sent one after another.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from rest_framework.throttling import BaseThrottle

from api.models import SignInAttempt, User
from inventory.errors import BadInput, Fault, SpanstockError

logger = logging.getLogger(__name__)

LOCKED_FOR = timedelta(minutes=15)
# Who mistypes needs a few tries. Whoever guesses from many addresses, or many names from one, gets no more
# tries than these; the higher numbers keep one stranger from locking out a name or an office at will.
MOST_TRIES_OF_NAME_FROM_ADDRESS = 5
MOST_TRIES_OF_NAME = 50
MOST_TRIES_FROM_ADDRESS = 50


class SignInRefused(SpanstockError):
    """The name or the password is wrong."""

    code = "authentication_failed"


class SignInLocked(SpanstockError):
    """Too many sign-ins have failed; wait and try again."""

    code = "sign_in_locked"

    def __init__(self, wait_s: int) -> None:
        super().__init__(f"Too many sign-ins have failed. Try again in {max(1, -(-wait_s // 60))} minutes.")
        self.retry_after_s = wait_s


@dataclass(frozen=True)
class _Lock:
    """How many tries are open to what, within the time that a lock lasts."""

    tries: QuerySet[SignInAttempt]
    most: int

    def wait_s(self, now: datetime) -> int:
        """Seconds until another try is open; 0 where one is."""
        newest = list(self.tries.order_by("-tried_at").values_list("tried_at", flat=True)[: self.most])
        if len(newest) < self.most:
            return 0
        return max(0, round((newest[-1] + LOCKED_FOR - now).total_seconds()))


class LockingBackend(ModelBackend):
    """Django's own, with a lock after repeated failure."""

    def authenticate(
        self,
        request: HttpRequest | None,
        username: str | None = None,
        password: str | None = None,
        **kwargs: Any,
    ) -> Any:
        if not username or password is None:
            return None
        name, address, now = _spell(username), find_address(request), timezone.now()
        attempt = SignInAttempt.objects.create(name=name, address=address, tried_at=now)
        if _wait_s(name, address, now, besides=attempt):
            attempt.delete()
            # Ends the search for a backend; what is told to the client is told by the door.
            raise PermissionDenied
        user = super().authenticate(request, username=username, password=password, **kwargs)
        if user is not None:
            SignInAttempt.objects.filter(name=name, address=address).delete()
        return user


def sign_in(request: HttpRequest, *, name: str, password: str) -> User:
    """Open a session for the person of that name; refuse the same way whatever of it was wrong."""
    user = _check(request, name=name, password=password)
    login(request, user)
    return user


def sign_out(request: HttpRequest) -> None:
    """End the session; nothing of it is left on the server."""
    logout(request)


def change_password(request: HttpRequest, *, user: User, current: str, new: str) -> None:
    """Give the person another password. Their other sessions end, this one goes on."""
    _check(request, name=user.username, password=current)
    refuse_weak_password(new, user, pointer="/new")
    user.set_password(new)
    user.save(update_fields=["password"])
    update_session_auth_hash(request, user)
    logger.info("password changed", extra={"event": "password_changed", "account": user.username})


def refuse_weak_password(password: str, user: User, *, pointer: str) -> None:
    """Refuse what is short, common, all digits or like the name."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise BadInput.of([Fault(pointer, "", " ".join(error.messages))]) from None


def forget_old_attempts(*, now: datetime) -> None:
    """Remove what no lock counts any more."""
    SignInAttempt.objects.filter(tried_at__lt=now - LOCKED_FOR).delete()


def find_address(request: HttpRequest | None) -> str:
    """Where a request comes from, as the throttles take it: behind as many proxies as the operator says."""
    if request is None:
        return ""
    return str(BaseThrottle().get_ident(request) or "")[:45]  # type: ignore[arg-type]


def _check(request: HttpRequest, *, name: str, password: str) -> User:
    user = authenticate(request, username=name, password=password)
    if isinstance(user, User):
        return user
    wait_s = _wait_s(_spell(name), find_address(request), timezone.now())
    raise SignInLocked(wait_s) if wait_s else SignInRefused("The name or the password is wrong.")


def _wait_s(name: str, address: str, now: datetime, *, besides: SignInAttempt | None = None) -> int:
    """Seconds until this name may be tried from this address."""
    recent = SignInAttempt.objects.filter(tried_at__gt=now - LOCKED_FOR)
    if besides is not None:
        recent = recent.exclude(pk=besides.pk)
    locks = (
        _Lock(recent.filter(name=name, address=address), MOST_TRIES_OF_NAME_FROM_ADDRESS),
        _Lock(recent.filter(name=name), MOST_TRIES_OF_NAME),
        _Lock(recent.filter(address=address), MOST_TRIES_FROM_ADDRESS),
    )
    return max(lock.wait_s(now) for lock in locks)


def _spell(name: str) -> str:
    """One spelling for names that differ in case only, so that none gets more tries than another."""
    return name.casefold()[:150]
