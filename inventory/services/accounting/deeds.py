"""What is done when a second person has agreed, by what was asked for."""

from datetime import datetime
from uuid import UUID

from inventory.models import Actor, SecondWord
from inventory.services.accounting.periods import carry_out_reopening
from inventory.services.accounting.write_offs import (
    carry_out_revaluation,
    carry_out_write_down,
    carry_out_write_off,
)
from inventory.services.second_word import Deed, decide
from inventory.services.write_off_limit import carry_out_limit


def _only_seen(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Nothing is left to do: it stands in the book already, and somebody has looked at it."""


DEEDS: dict[str, Deed] = {
    SecondWord.Kind.WRITE_OFF: carry_out_write_off,
    SecondWord.Kind.WRITE_DOWN: carry_out_write_down,
    SecondWord.Kind.REVALUE: carry_out_revaluation,
    SecondWord.Kind.REOPEN: carry_out_reopening,
    SecondWord.Kind.LIMIT: carry_out_limit,
    SecondWord.Kind.SEEN: _only_seen,
}


def give_second_word(
    *, id: UUID, by: Actor, decided_at: datetime, is_granted: bool, note: str = ""
) -> SecondWord:
    """Grant or refuse a request; what is granted is done in the same breath."""
    return decide(id=id, by=by, decided_at=decided_at, is_granted=is_granted, deeds=DEEDS, note=note)
