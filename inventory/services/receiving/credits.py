"""Noting what suppliers credit for goods that were sent back."""

from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, HeldOutcome, SupplierCredit
from inventory.services.documents import fingerprint_of, take_once


class NoCreditExpected(SpanstockError):
    """No credit is awaited: the goods were not sent back, that was undone, or it was credited before."""

    code = "no_credit_expected"


def note_credit(
    *, id: UUID, by: Actor, occurred_at: datetime, outcome: HeldOutcome, amount: int, document: str = ""
) -> SupplierCredit:
    """Note the credit, in millionths of the currency; nothing more is awaited. The same again is harmless.

    Raises
    ------
    NoCreditExpected
        If none is awaited for these goods.
    BadInput
        If the amount is below nothing.
    DocumentConflict
        If the id stands for something else.
    """
    fingerprint = fingerprint_of(outcome=outcome, occurred_at=occurred_at, amount=amount, document=document)

    def make() -> SupplierCredit:
        if amount < 0:
            raise BadInput.of([Fault("/amount", str(amount), "cannot be less than nothing")])
        # The outcome is the lock: two people must not both note what came once.
        held = HeldOutcome.objects.select_for_update(of=("self",)).get(pk=outcome.pk)
        is_undone = hasattr(held.entry, "reversed_by")
        if held.outcome != HeldOutcome.Outcome.SENT_BACK or is_undone or hasattr(held, "credit"):
            raise NoCreditExpected(
                "No credit is awaited for these goods. See the list of expected credits for what is."
            )
        return SupplierCredit.objects.create(
            uuid=id,
            outcome=held,
            amount=amount,
            document=document,
            occurred_at=occurred_at,
            by=by,
            fingerprint=fingerprint,
        )

    return take_once(SupplierCredit, id=id, by=by, author="by", fingerprint=fingerprint, make=make)
