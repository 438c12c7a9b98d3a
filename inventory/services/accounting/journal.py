"""Lines for the general ledger, in numbered batches, each line in exactly one."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Sum

from inventory.calc.balanced_rounding import round_balances
from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import (
    AccountRule,
    Actor,
    ChainHead,
    JournalBatch,
    JournalLine,
    Material,
    Place,
    RejectedBatch,
)
from inventory.money import minor_digits
from inventory.queries.account_balances import Name, sum_accounts
from inventory.queries.company import get_company
from inventory.services.sealing import seal_all

State = JournalBatch.State


class NothingToExport(SpanstockError):
    """No account's rounded balance differs from what earlier batches brought."""

    code = "nothing_to_export"


class BatchWasRejected(SpanstockError):
    """A batch was rejected and is put right before another is made."""

    code = "batch_was_rejected"


class BatchWasAnswered(SpanstockError):
    """The batch was answered the other way."""

    code = "batch_was_answered"


@dataclass(frozen=True)
class AccountSetting:
    """An account for the goods of one kind (all, if empty) at places of one kind."""

    place_kind: str
    account: str
    material_kind: str = ""


@transaction.atomic
def set_accounts(*, settings: Iterable[AccountSetting]) -> list[AccountRule]:
    """Replace the whole mapping. What a changed account had goes to the new one with the next batch.

    Raises
    ------
    BadInput
        If a kind is unknown, an account is empty, or goods at a kind of place get two accounts.
    """
    rules = []
    faults: list[Fault] = []
    seen: set[tuple[str, str]] = set()
    for number, setting in enumerate(settings):
        pointer = f"/accounts/{number}"
        if setting.place_kind not in Place.Kind.values:
            faults.append(Fault(f"{pointer}/place_kind", setting.place_kind, "is no kind of place"))
        if setting.material_kind and setting.material_kind not in Material.Kind.values:
            faults.append(Fault(f"{pointer}/material_kind", setting.material_kind, "is no kind of material"))
        if not 0 < len(setting.account.strip()) <= 40:
            faults.append(
                Fault(f"{pointer}/account", setting.account, "must be a code of 1 to 40 characters")
            )
        if (setting.place_kind, setting.material_kind) in seen:
            faults.append(Fault(pointer, setting.place_kind, "has an account already; give it one"))
        seen.add((setting.place_kind, setting.material_kind))
        rules.append(
            AccountRule(
                place_kind=setting.place_kind,
                material_kind=setting.material_kind,
                account=setting.account.strip(),
            )
        )
    if faults:
        raise BadInput.of(faults)
    AccountRule.objects.all().delete()
    return AccountRule.objects.bulk_create(rules)


@transaction.atomic
def make_batch(*, by: Actor, made_at: datetime, booked_until: date) -> JournalBatch:
    """Write what changed since the last batch, up to a day of booking, as the next one.

    Each line is the account's balance, rounded so that all balances still sum to zero, less what earlier
    batches brought it: rounding never adds up, and a batch lost on the way is not needed for the next. A
    balance that no entry changed since its last line has none.

    Raises
    ------
    AccountMissing
        If value lies where no account is set for.
    BatchWasRejected
        If a batch was rejected and not made anew.
    BadInput
        If the day lies before that of the last batch.
    NothingToExport
        If nothing changed by a whole coin.
    """
    # Sealing takes the chain's head, which makes two who ask at the same time wait for each other.
    seal_all()
    head = ChainHead.objects.select_for_update().get(pk=1)
    last = JournalBatch.objects.order_by("number").last()
    rejected = JournalBatch.objects.filter(state=State.REJECTED).order_by("number").first()
    if rejected is not None:
        # Its lines count as brought, whether or not others went out after it.
        raise BatchWasRejected(f"Batch {rejected} was rejected ({rejected.answer}). Make it anew first.")
    if last is not None and booked_until < last.booked_until:
        message = f"lies before {last.booked_until}, up to which batch {last} went"
        raise BadInput.of([Fault("/booked_until", str(booked_until), message)])
    batch = JournalBatch(
        number=last.number + 1 if last is not None else 1,
        made_at=made_at,
        made_by=by,
        booked_until=booked_until,
        last_sequence=head.sequence,
    )
    lines = _draw_lines(batch)
    if not lines:
        raise NothingToExport(f"Up to {booked_until} nothing changed by a whole coin since the last batch.")
    batch.save(force_insert=True)
    JournalLine.objects.bulk_create(lines)
    return batch


def _draw_lines(batch: JournalBatch) -> list[JournalLine]:
    balances = sum_accounts(booked_until=batch.booked_until, last_sequence=batch.last_sequence)
    exported, before = _sum_exported(batch.number), _find_last_balances(batch.number)
    names = sorted({*balances, *exported}, key=lambda name: (name[0], name[1] or 0))
    exact = [balances.get(name, 0) for name in names]
    unit = 10 ** (6 - minor_digits(get_company().currency))
    standing = [
        # A batch made anew under other accounts leaves lines behind it that need setting right.
        exported[name]
        if before.get(name) == balance and abs(exported[name] * unit - balance) < unit
        else None
        for name, balance in zip(names, exact, strict=True)
    ]
    rounded = _round(names, exact, unit, standing)
    lines: list[JournalLine] = []
    for (account, job), balance, whole in zip(names, exact, rounded, strict=True):
        amount = whole - exported.get((account, job), 0)
        if amount:
            lines.append(
                JournalLine(
                    batch=batch,
                    line=len(lines) + 1,
                    account=account,
                    job_place_id=job,
                    exact_balance=balance,
                    rounded_balance=whole,
                    amount=amount,
                )
            )
    return lines


def _round(names: list[Name], exact: list[int], unit: int, standing: list[int | None]) -> list[int]:
    """Round what changed, and leave what did not: its line would have no entry behind it.

    Where what changed cannot take up all of the rounding within a coin, accounts without a job do too;
    what is charged to a job never gets a coin that no entry of the job brought.
    """
    on_jobs = [whole if name[1] is not None else None for name, whole in zip(names, standing, strict=True)]
    rounded = round_balances(balances=exact, unit=unit, standing=standing)
    strays = any(abs(whole * unit - each) >= unit for whole, each in zip(rounded, exact, strict=True))
    return round_balances(balances=exact, unit=unit, standing=on_jobs) if strays else rounded


def _find_last_balances(before: int) -> dict[Name, int]:
    """The exact balance behind the newest line of each account, by its name."""
    rows = JournalLine.objects.filter(batch__number__lt=before).order_by("batch__number")
    return {
        (account, job): balance
        for account, job, balance in rows.values_list("account", "job_place", "exact_balance").iterator()
    }


def _sum_exported(before: int) -> dict[Name, int]:
    rows = JournalLine.objects.filter(batch__number__lt=before).order_by()
    sums = rows.values_list("account", "job_place").annotate(Sum("amount"))
    return {(account, job): int(amount) for account, job, amount in sums}


@transaction.atomic
def answer_batch(*, number: int, is_accepted: bool, answered_at: datetime, answer: str = "") -> JournalBatch:
    """Note what its reader said of a batch; the same answer again is harmless."""
    batch = _get_batch(number)
    state = State.ACCEPTED if is_accepted else State.REJECTED
    if batch.state not in (State.OUT, state):
        raise BatchWasAnswered(
            f"Batch {number} was {batch.get_state_display()} on {batch.answered_at:%Y-%m-%d}."
        )
    if batch.state == State.OUT:
        batch.state, batch.answered_at, batch.answer = state, answered_at, answer
        batch.save()
    return batch


@transaction.atomic
def remake_batch(*, number: int, by: Actor, made_at: datetime) -> JournalBatch:
    """Write a rejected batch anew under its number, over the same entries, by the accounts as they are now.

    What was rejected is kept, with its lines as they went out and why they came back.

    Raises
    ------
    BatchWasAnswered
        If it was not rejected.
    """
    batch = _get_batch(number)
    if batch.state != State.REJECTED:
        raise BatchWasAnswered(
            f"Batch {number} is {batch.get_state_display()}; only a rejected one is made anew."
        )
    _keep_rejected(batch)
    batch.lines.all().delete()
    batch.state, batch.made_at, batch.made_by = State.OUT, made_at, by
    batch.answered_at, batch.answer = None, ""
    batch.save()
    JournalLine.objects.bulk_create(_draw_lines(batch))
    return batch


def _keep_rejected(batch: JournalBatch) -> None:
    assert batch.answered_at is not None
    fields = ("line", "account", "job_place__code", "exact_balance", "rounded_balance", "amount")
    RejectedBatch.objects.create(
        batch=batch,
        attempt=batch.rejected.count() + 1,
        made_at=batch.made_at,
        made_by=batch.made_by,
        rejected_at=batch.answered_at,
        answer=batch.answer,
        lines=[dict(zip(fields, row, strict=True)) for row in batch.lines.values_list(*fields)],
    )


def _get_batch(number: int) -> JournalBatch:
    batch = JournalBatch.objects.select_for_update().filter(number=number).first()
    if batch is None:
        raise NotFound(f"There is no batch {number}.")
    return batch
