"""What should be done in stores before a period is closed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from inventory.models import CountSheet, Entry, HeldOutcome, Holding, Place, ReceivedLine, SecondWord
from inventory.money import format_money
from inventory.queries.company import get_company
from inventory.queries.receipt_costs import list_unbilled
from inventory.units import format_millionths


@dataclass(frozen=True)
class OpenPoint:
    """Something on the check list that is not done: what kind, which, in words."""

    kind: str
    name: str
    sentence: str


def list_open_points(until: date) -> list[OpenPoint]:
    """Every open point of stores up to the end of a day of the company's calendar."""
    company = get_company()
    end = datetime.combine(until + timedelta(days=1), time(), ZoneInfo(company.time_zone))
    return [
        *_counts(end),
        *_receipts(until, company.currency),
        *_unmatched(end),
        *_credits(end, company.currency),
        *_requests(end),
        *_not_agreed(until),
    ]


def _counts(end: datetime) -> Iterator[OpenPoint]:
    for sheet in CountSheet.objects.filter(state=CountSheet.State.OPEN, made_at__lt=end).select_related(
        "place"
    ):
        sentence = f"Count sheet {sheet} of {sheet.place} is still to be counted."
        yield OpenPoint("count", sheet.reference, sentence)
    unsettled = Holding.objects.filter(is_unsettled=True, place__kind__in=Place.STOCK_KINDS)
    for row in unsettled.select_related("place", "material", "container").order_by("key"):
        where = f"{row.container} at {row.place}" if row.container else str(row.place)
        yield OpenPoint(
            "unsettled", row.key, f"{row.material} in {where} was used as the book did not know it: count it."
        )


def _receipts(until: date, currency: str) -> Iterator[OpenPoint]:
    for row in list_unbilled(until=until):
        quantity = format_millionths(row.unbilled, row.material.stock_unit)
        worth = format_money(row.accrued, currency)
        yield OpenPoint(
            "receipt",
            str(row.entry.uuid),
            f"{quantity} {row.material} received {row.entry.booked_date} from {row.supplier_place} "
            f"have no bill yet ({worth}).",
        )


def _unmatched(end: datetime) -> Iterator[OpenPoint]:
    lines = ReceivedLine.objects.filter(receipt__occurred_at__lt=end, outcomes__isnull=True)
    lines = lines.exclude(finding=ReceivedLine.Finding.SOUND).filter(receipt__entry__reversed_by__isnull=True)
    for line in lines.select_related("material", "receipt__supplier").order_by("pk"):
        yield OpenPoint(
            "held_back",
            str(line),
            f"{line.material} of {line.receipt.supplier} was held back ({line.get_finding_display()}) "
            "and nobody has decided about it.",
        )


def _credits(end: datetime, currency: str) -> Iterator[OpenPoint]:
    rows = HeldOutcome.objects.filter(
        outcome=HeldOutcome.Outcome.SENT_BACK,
        occurred_at__lt=end,
        entry__reversed_by__isnull=True,
        credit__isnull=True,
        expected_credit__gt=0,
    )
    for row in rows.select_related("received_line__material", "received_line__receipt__supplier").order_by(
        "pk"
    ):
        line = row.received_line
        quantity = format_millionths(row.quantity, line.material.stock_unit)
        yield OpenPoint(
            "credit",
            str(row.uuid),
            f"{line.receipt.supplier} still owes {format_money(row.expected_credit or 0, currency)} for "
            f"{quantity} {line.material} sent back {row.occurred_at:%Y-%m-%d}.",
        )


def _requests(end: datetime) -> Iterator[OpenPoint]:
    waiting = SecondWord.objects.filter(decided_at__isnull=True, asked_at__lt=end).select_related("asked_by")
    for word in waiting.exclude(kind=SecondWord.Kind.SEEN):
        yield _waiting(word)


def _not_agreed(until: date) -> Iterator[OpenPoint]:
    """What was booked because it had happened, and no second person agreed to: asked since, or refused."""
    words = SecondWord.objects.filter(kind=SecondWord.Kind.SEEN).exclude(is_granted=True)
    asked = {UUID(word.body["entry"]): word for word in words.select_related("asked_by", "decided_by")}
    entries = Entry.objects.filter(uuid__in=asked, booked_date__lte=until).select_related("reversed_by")
    for entry in entries.order_by("key"):
        word = asked[entry.uuid]
        if word.decided_by is None:
            yield _waiting(word)
        elif not hasattr(entry, "reversed_by"):
            yield OpenPoint(
                "not_agreed",
                str(word.uuid),
                f"{word.decided_by.name} did not agree to what {word.asked_by.name} took off the books "
                f"({word.reason}): reverse it, or agree once it is explained.",
            )


def _waiting(word: SecondWord) -> OpenPoint:
    return OpenPoint(
        "second_word",
        str(word.uuid),
        f"{word.asked_by.name} asked for a second word ({word.get_kind_display()}): {word.reason}",
    )
