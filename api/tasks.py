"""Work of the doors that goes on by itself."""

from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from api.sign_in.people import forget_old_attempts
from api.sign_in.systems import forget_old_tokens


@shared_task(ignore_result=True)
def forget_ended_sign_ins() -> None:
    """Remove sessions, tokens and attempts that count no more."""
    now = timezone.now()
    SessionStore.clear_expired()
    forget_old_tokens(now=now)
    forget_old_attempts(now=now)
