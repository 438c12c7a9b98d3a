"""Closing a period: a check list, a statement of what the stock was worth, and no more booking into it."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import AccountingPeriod, Actor, ChainHead, Company, SecondWord
from inventory.queries.company import get_company
from inventory.queries.open_points import OpenPoint
from inventory.queries.stock_accounts import RolledForward, roll_forward
from inventory.services.posting.locking import hold_books
from inventory.services.sealing import seal_all
from inventory.services.second_word import ask_for_second_word


class PointsAreOpen(SpanstockError):
    """The check list is not done, and nobody said why the period may be closed all the same."""

    code = "points_are_open"


class PeriodNotOver(BadInput):
    """A period is closed when its last day is over."""

    code = "period_not_over"


class AlreadyClosed(SpanstockError):
    """These days are closed already."""

    code = "already_closed"


class ClosedAnew(SpanstockError):
    """The period that was to be reopened is another closing of the same days by now."""

    code = "closed_anew"


@transaction.atomic
def close_period(
    *,
    last_date: date,
    by: Actor,
    occurred_at: datetime,
    open_points: Sequence[OpenPoint] = (),
    remark: str = "",
) -> AccountingPeriod:
    """Close all days up to `last_date` and state the stock at once; the same once more gives the same period.

    Raises
    ------
    PeriodNotOver, AlreadyClosed, PointsAreOpen
        As `refuse_closing` says.
    """
    period = lock_period(
        last_date=last_date, by=by, occurred_at=occurred_at, open_points=open_points, remark=remark
    )
    return state_period(period=period)


def refuse_closing(
    *, last_date: date, occurred_at: datetime, open_points: Sequence[OpenPoint] = (), remark: str = ""
) -> AccountingPeriod | None:
    """Refuse what cannot be closed; return the period where just these days are closed already.

    Raises
    ------
    PeriodNotOver
        If the last day is not over where the company is.
    AlreadyClosed
        If a later day is closed.
    PointsAreOpen
        If the check list has open points and `remark` does not say why that is right.
    """
    company = get_company()
    if last_date >= occurred_at.astimezone(ZoneInfo(company.time_zone)).date():
        message = "is not over yet; close up to a day that is"
        raise PeriodNotOver.of([Fault("/last_date", str(last_date), message)])
    closed = company.books_closed_until
    if closed is not None and last_date <= closed:
        standing = AccountingPeriod.objects.filter(last_date=last_date, reopened_at=None).first()
        if standing is not None and last_date == closed:
            return standing
        raise AlreadyClosed(f"The books are closed until {closed}. Ask to reopen the period to change that.")
    if open_points and not remark.strip():
        shown = "; ".join(point.sentence for point in open_points[:5])
        more = f"; and {len(open_points) - 5} more" if len(open_points) > 5 else ""
        raise PointsAreOpen(f"Not done yet: {shown}{more}. Do it, or say in a remark why it can wait.")
    return None


@transaction.atomic
def lock_period(
    *,
    last_date: date,
    by: Actor,
    occurred_at: datetime,
    open_points: Sequence[OpenPoint] = (),
    remark: str = "",
) -> AccountingPeriod:
    """Let nothing more be booked on days up to `last_date`; refuses as `refuse_closing` does.

    Short, since all postings wait for it. What the period states is reckoned afterwards: it cannot change.
    """
    hold_books()
    company = Company.objects.select_for_update(of=("self",)).get(pk=get_company().pk)
    standing = refuse_closing(
        last_date=last_date, occurred_at=occurred_at, open_points=open_points, remark=remark
    )
    if standing is not None:
        return standing
    closed = company.books_closed_until
    seal_all()
    head = ChainHead.objects.get(pk=1)
    company.books_closed_until = last_date
    company.save(update_fields=["books_closed_until"])
    return AccountingPeriod.objects.create(
        first_date=closed + timedelta(days=1) if closed is not None else None,
        last_date=last_date,
        closed_at=occurred_at,
        closed_by=by,
        remark=remark,
        open_points=[[point.kind, point.name, point.sentence] for point in open_points],
        last_sequence=head.sequence,
        last_hash=head.hash,
    )


def state_period(*, period: AccountingPeriod) -> AccountingPeriod:
    """State what the stock was at the period's beginning and end, and what came and went."""
    rows = roll_forward(first_date=period.first_date, last_date=period.last_date)
    period.roll_forward = [_row_form(row) for row in rows]
    period.save(update_fields=["roll_forward"])
    return period


def _row_form(row: RolledForward) -> dict[str, Any]:
    parts = {"opening": row.opening, **row.changes, "closing": row.closing}
    amounts = {word: [part.quantity, part.value] for word, part in parts.items()}
    return {"material": row.material.code, "owner": row.owner.code, **amounts}


def ask_to_reopen(*, id: UUID, by: Actor, asked_at: datetime, last_date: date, reason: str) -> SecondWord:
    """Ask that the last closed period be opened again; somebody else grants it."""
    known = SecondWord.objects.filter(uuid=id, kind=SecondWord.Kind.REOPEN).first()
    # Sent again after it was granted, no such period is closed any more.
    closed_at = known.body.get("closed_at") if known is not None else _closing(_find_last_closed(last_date))
    return ask_for_second_word(
        id=id,
        kind=SecondWord.Kind.REOPEN,
        by=by,
        asked_at=asked_at,
        reason=reason,
        body={"last_date": last_date.isoformat(), "closed_at": closed_at},
    )


def carry_out_reopening(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Open the last closed period again; what was booked after it meanwhile stays where it is."""
    hold_books()
    period = _find_last_closed(date.fromisoformat(word.body["last_date"]))
    if _closing(period) != word.body.get("closed_at"):
        raise ClosedAnew(
            f"The period until {period.last_date} was opened and closed again since this was asked, on "
            f"{period.closed_at:%Y-%m-%d}. Refuse it, and let it be asked anew."
        )
    period.reopened_at = decided_at
    period.save(update_fields=["reopened_at"])
    before = AccountingPeriod.objects.filter(reopened_at=None).order_by("last_date").last()
    company = Company.objects.select_for_update(of=("self",)).get(pk=get_company().pk)
    company.books_closed_until = before.last_date if before is not None else None
    company.save(update_fields=["books_closed_until"])


def _find_last_closed(last_date: date) -> AccountingPeriod:
    period = AccountingPeriod.objects.filter(reopened_at=None).order_by("last_date").last()
    if period is None or period.last_date != last_date:
        shown = f"the last one ends on {period.last_date}" if period is not None else "none is closed"
        raise NotFound(f"No closed period that could be reopened ends on {last_date}; {shown}.")
    return period


def _closing(period: AccountingPeriod) -> str:
    """Which closing of its days a period is."""
    return period.closed_at.astimezone(UTC).isoformat()
