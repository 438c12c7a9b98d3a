"""Heads of the chain that left the house: with the feed, a backup, an issued sheet, or on a slip of paper.

Whoever recomputes the whole chain after a change leaves a book that is whole in itself. It is found by a head
that somebody else kept: the chain of before held it, the recomputed one does not.
"""

import re
from dataclasses import dataclass

from inventory.errors import BadInput, Fault
from inventory.models import Seal
from inventory.queries.canonical import FIRST_HASH

_HEAD = re.compile(r"(\d{1,18})-([0-9a-f]{64})", re.ASCII)


@dataclass(frozen=True)
class KeptHead:
    """A link of the chain as it was told once: its number and its hash."""

    sequence: int
    hash: str

    def __str__(self) -> str:
        return f"{self.sequence}-{self.hash}"


START = KeptHead(0, FIRST_HASH)


def read_head(text: str, *, pointer: str = "/head") -> KeptHead:
    """Read a head as it was told: sequence, a hyphen, 64 hexadecimal digits.

    Raises
    ------
    BadInput
        If it was never a head.
    """
    match = _HEAD.fullmatch(text.strip().lower())
    if match is None:
        raise BadInput.of([Fault(pointer, text, "a head is a number, a hyphen and 64 hexadecimal digits")])
    return KeptHead(int(match[1]), match[2])


def is_on_chain(head: KeptHead) -> bool:
    """Whether the chain still holds the link."""
    return head == START or Seal.objects.filter(pk=head.sequence, hash=head.hash).exists()
