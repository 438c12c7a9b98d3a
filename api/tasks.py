"""Work of the doors that goes on by itself."""

from celery import shared_task
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from api.feed.webhooks import deliver_due, write_deliveries
from api.imports.working import take_import, work_import
from api.sign_in.people import forget_old_attempts
from api.sign_in.systems import forget_old_tokens
from api.wire.keyed_answers import forget_old_answers as remove_old_answers


@shared_task(ignore_result=True)
def forget_ended_sign_ins() -> None:
    """Remove sessions, tokens and attempts that count no more."""
    now = timezone.now()
    SessionStore.clear_expired()
    forget_old_tokens(now=now)
    forget_old_attempts(now=now)


@shared_task(ignore_result=True)
def forget_old_answers() -> int:
    """Remove answers that were kept for as long as is said, and claims of requests that never ended."""
    return remove_old_answers()


@shared_task(ignore_result=True)
def tell_webhooks() -> int:
    """Write down what is to be told of what was sealed, and send what is due."""
    now = timezone.now()
    write_deliveries(now=now)
    return deliver_due(now=now)


@shared_task(ignore_result=True)
def work_imports() -> int:
    """Take the files that were sent, until none is free."""
    worked = 0
    while (taken := take_import()) is not None:
        work_import(taken)
        worked += 1
    return worked
