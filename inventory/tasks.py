"""Work that goes on by itself. A message is only a hint: each task finds what is to be done in tables."""

from celery import shared_task

from inventory.services.sealing import seal_all


@shared_task(ignore_result=True)
def seal_posted() -> int:
    """Seal what was posted since; safe to run twice and at the same time."""
    return seal_all()
