"""Trying again where PostgreSQL let another transaction go first."""

import random
import time

from django.db import OperationalError

# What PostgreSQL answers when two transactions waited for each other or could not be ordered.
RETRIED_STATES = frozenset({"40001", "40P01"})
LONGEST_PAUSE_S = 0.5


def may_retry(error: Exception) -> bool:
    """Whether the transaction was only unlucky: it was rolled back whole and may be tried again."""
    is_known = getattr(error.__cause__, "sqlstate", None) in RETRIED_STATES
    return isinstance(error, OperationalError) and is_known


def pause(turn: int) -> None:
    """Wait a little, longer each time and never the same as the one that was in the way."""
    time.sleep(random.uniform(0, min(LONGEST_PAUSE_S, 0.01 * 2**turn)))
