"""Requests for a second word, bills, batches and stock accounts as JSON, with their shapes."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.answers import named_json
from api.wire.moments import moment_json
from api.wire.schemas import DAY, FLAG, MOMENT, TEXT, UUID, WHOLE, Schema, listing, nullable, of, shape, words
from inventory.models import (
    AccountRule,
    InvoiceCharge,
    InvoiceLine,
    JournalBatch,
    JournalLine,
    Material,
    Place,
    RejectedBatch,
    SecondWord,
    SupplierInvoice,
)
from inventory.money import minor_digits
from inventory.queries.account_balances import AccountTie, StockTie
from inventory.queries.receipt_costs import Received
from inventory.queries.stock_accounts import CHANGES, RolledForward, StockAge, StockRow, Worth

Json = dict[str, Any]


def second_word_json(word: SecondWord, *, sees_money: bool) -> Json:
    """A request; what an entry took off is left out for who is asked about goods, not money."""
    return {
        "id": str(word.uuid),
        "kind": word.kind,
        "asked_by": named_json(word.asked_by),
        "asked_at": moment_json(word.asked_at),
        "reason": word.reason,
        "asks_for": {name: said for name, said in word.body.items() if sees_money or name != "value"},
        "decided_by": named_json(word.decided_by) if word.decided_by else None,
        "decided_at": moment_json(word.decided_at) if word.decided_at else None,
        "is_granted": word.is_granted,
        "note": word.note,
    }


def account_json(rule: AccountRule) -> Json:
    return {
        "place_kind": rule.place_kind,
        "material_kind": rule.material_kind or None,
        "account": rule.account,
    }


def batch_json(batch: JournalBatch, lines: list[JournalLine] | None, currency: str) -> Json:
    body: Json = {
        "number": batch.number,
        "made_at": moment_json(batch.made_at),
        "made_by": named_json(batch.made_by),
        "booked_until": batch.booked_until.isoformat(),
        "last_sequence": batch.last_sequence,
        "state": batch.state,
        "answer": batch.answer,
        "answered_at": moment_json(batch.answered_at) if batch.answered_at else None,
    }
    if lines is not None:
        body["lines"] = [line_json(line, currency) for line in lines]
        rejected = batch.rejected.select_related("made_by")
        body["rejected"] = [_rejected(row, currency) for row in rejected]
    return body


def _rejected(row: RejectedBatch, currency: str) -> Json:
    return {
        "made_at": moment_json(row.made_at),
        "made_by": named_json(row.made_by),
        "answered_at": moment_json(row.rejected_at),
        "answer": row.answer,
        "lines": [
            _line(line["line"], line["account"], line["job_place__code"], line["amount"], currency)
            for line in row.lines
        ],
    }


def line_json(line: JournalLine, currency: str) -> Json:
    place = line.job_place.code if line.job_place else None
    return _line(line.line, line.account, place, line.amount, currency)


def _line(number: int, account: str, job_place: str | None, amount: int, currency: str) -> Json:
    return {
        "line": number,
        "account": account,
        "job": job_place.removeprefix("job:") if job_place else None,
        "debit": coins_json(max(amount, 0), currency),
        "credit": coins_json(max(-amount, 0), currency),
    }


def _job_of(line: JournalLine) -> str | None:
    return line.job_place.code.removeprefix("job:") if line.job_place else None


def coins_json(coins: int, currency: str) -> Json:
    """Whole coins as money with exactly the currency's decimals."""
    return {"value": show_coins(coins, currency), "currency": currency}


def show_coins(coins: int, currency: str) -> str:
    digits = minor_digits(currency)
    if not digits:
        return str(coins)
    sign, whole = ("-", -coins) if coins < 0 else ("", coins)
    return f"{sign}{whole // 10**digits}.{whole % 10**digits:0{digits}d}"


def journal_table(lines: list[JournalLine], currency: str) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of a batch for CSV and workbooks."""
    headings = ["batch", "line", "booked until", "account", "job", "debit", "credit", "currency"]
    rows = [
        [
            str(line.batch.number),
            str(line.line),
            line.batch.booked_until.isoformat(),
            line.account,
            _job_of(line) or "",
            show_coins(max(line.amount, 0), currency),
            show_coins(max(-line.amount, 0), currency),
            currency,
        ]
        for line in lines
    ]
    return headings, rows


def tie_json(tie: AccountTie, currency: str) -> Json:
    """What is not exported yet is the difference, exactly: less than a coin of it is rounding."""
    coin = 10 ** (6 - minor_digits(currency))
    return {
        "account": tie.account,
        "balance": money_json(tie.balance, currency),
        "in_stock": money_json(tie.in_stock, currency),
        "not_sealed": money_json(tie.not_sealed, currency),
        "exported": money_json(tie.exported * coin, currency),
        "not_exported": money_json(tie.balance - tie.exported * coin, currency),
    }


def ties_json(found: StockTie, currency: str) -> Json:
    """The accounts, and their stock beside what the roll-forward closes with."""
    return {
        "results": [tie_json(tie, currency) for tie in found.accounts],
        "stock": {
            "closing": money_json(found.closing, currency),
            "in_accounts": money_json(found.in_stock, currency),
        },
    }


def invoice_json(invoice: SupplierInvoice, currency: str) -> Json:
    return {
        "id": str(invoice.uuid),
        "supplier": named_json(invoice.supplier),
        "number": invoice.number,
        "invoice_date": invoice.invoice_date.isoformat(),
        "currency": invoice.currency,
        "rate": invoice.rate,
        "recorded_at": moment_json(invoice.recorded_at),
        "by": named_json(invoice.by),
        "booked_date": invoice.booked_date.isoformat(),
        "entry": str(invoice.entry.uuid) if invoice.entry else None,
        "undone": _undone_json(invoice),
        "charges": [_charge_json(charge, currency) for charge in invoice.charges.all()],
        "lines": [_invoice_line_json(line, currency) for line in invoice.lines.all()],
    }


def _undone_json(invoice: SupplierInvoice) -> Json | None:
    if invoice.undone_at is None or invoice.undone_by is None or invoice.undone_date is None:
        return None
    return {
        "at": moment_json(invoice.undone_at),
        "by": named_json(invoice.undone_by),
        "booked_date": invoice.undone_date.isoformat(),
        "reason": invoice.undone_reason,
    }


def _charge_json(charge: InvoiceCharge, currency: str) -> Json:
    return {
        "name": charge.name,
        "amount": money_json(charge.amount, currency),
        "share_by": charge.share_by,
        "receipts": [str(receipt.uuid) for receipt in charge.receipts.all()],
    }


def _invoice_line_json(line: InvoiceLine, currency: str) -> Json:
    unit = line.material.stock_unit
    return {
        "receipt": str(line.receipt.uuid),
        "material": line.material.code,
        "is_for_goods": line.is_for_goods,
        "quantity": quantity_json(line.quantity, unit),
        "matched_quantity": quantity_json(line.matched_quantity, unit),
        "quantity_in_question": quantity_json(
            line.quantity - line.matched_quantity if line.is_for_goods else 0, unit
        ),
        "price": money_json(line.price, currency),
        "landed": money_json(line.landed, currency),
        "booked": money_json(line.booked, currency),
        "difference": money_json(line.difference, currency),
        "shares": [
            {
                "place": share.place.code if share.place else None,
                "quantity": quantity_json(share.quantity, unit),
                "value": money_json(share.value, currency),
                "is_booked_there": share.is_booked_there,
            }
            for share in line.shares.all()
        ],
    }


def unbilled_json(row: Received, currency: str) -> Json:
    unit = row.material.stock_unit
    return {
        "receipt": str(row.entry.uuid),
        "booked_date": row.entry.booked_date.isoformat(),
        "supplier": row.supplier_place.code.removeprefix("supplier:"),
        "material": row.material.code,
        "received": quantity_json(row.quantity, unit),
        "billed": quantity_json(row.billed, unit),
        "unbilled": quantity_json(row.unbilled, unit),
        "accrued": money_json(row.accrued, currency),
    }


def stock_row_json(row: StockRow, currency: str) -> Json:
    return {
        "place": row.place.code,
        "material": row.material.code,
        "owner": row.owner.code,
        "lot": row.lot.label if row.lot else None,
        "quantity": quantity_json(row.quantity, row.material.stock_unit),
        "value": money_json(row.value, currency),
        "received_date": row.received_date.isoformat() if row.received_date else None,
        "age_days": row.age_days,
    }


def stock_age_json(row: StockAge) -> Json:
    limits: list[int | None] = [*row.limits_days, None]
    return {
        "material": row.material.code,
        "ages": [
            {"at_most_days": limit, "quantity": quantity_json(amount, row.material.stock_unit)}
            for limit, amount in zip(limits, row.quantities, strict=True)
        ],
    }


def rolled_json(row: RolledForward, currency: str) -> Json:
    unit = row.material.stock_unit

    def worth(part: Worth) -> Json:
        return {"quantity": quantity_json(part.quantity, unit), "value": money_json(part.value, currency)}

    return {
        "material": row.material.code,
        "owner": row.owner.code,
        "opening": worth(row.opening),
        **{word: worth(row.changes[word]) for word in CHANGES},
        "closing": worth(row.closing),
    }


def worth_schema(quantity: Schema) -> Schema:
    return shape(quantity=quantity, value=of("Money"))


ROLL_WORDS = ("opening", *CHANGES, "closing")
COMPONENTS: dict[str, Schema] = {
    "SecondWord": shape(
        id=UUID,
        kind=words(SecondWord.Kind),
        asked_by=of("Named"),
        asked_at=MOMENT,
        reason=TEXT,
        asks_for={"type": "object"},
        decided_by=nullable(of("Named")),
        decided_at=nullable(MOMENT),
        is_granted=nullable(FLAG),
        note=TEXT,
    ),
    "AccountRule": shape(
        place_kind=words(Place.Kind), material_kind=nullable(words(Material.Kind)), account=TEXT
    ),
    "AccountMapping": shape(accounts=listing(of("AccountRule"))),
    "JournalLine": shape(line=WHOLE, account=TEXT, job=nullable(TEXT), debit=of("Coins"), credit=of("Coins")),
    "Coins": shape(
        value={"type": "string", "pattern": r"^\d+(\.\d+)?$"},
        currency={"type": "string", "pattern": "^[A-Z]{3}$"},
    ),
    "JournalBatchHead": shape(
        number=WHOLE,
        made_at=MOMENT,
        made_by=of("Named"),
        booked_until=DAY,
        last_sequence=WHOLE,
        state=words(JournalBatch.State),
        answer=TEXT,
        answered_at=nullable(MOMENT),
    ),
    "Invoice": shape(
        id=UUID,
        supplier=of("Named"),
        number=TEXT,
        invoice_date=DAY,
        currency=TEXT,
        rate=TEXT,
        recorded_at=MOMENT,
        by=of("Named"),
        booked_date=DAY,
        entry=nullable(UUID),
        undone=nullable(shape(at=MOMENT, by=of("Named"), booked_date=DAY, reason=TEXT)),
        charges=listing(
            shape(
                name=TEXT,
                amount=of("Money"),
                share_by=words(InvoiceCharge.ShareBy),
                receipts=listing(UUID),
            )
        ),
        lines=listing(
            shape(
                receipt=UUID,
                material=TEXT,
                is_for_goods=FLAG,
                quantity=of("Quantity"),
                matched_quantity=of("Quantity"),
                quantity_in_question=of("Quantity"),
                price=of("Money"),
                landed=of("Money"),
                booked=of("Money"),
                difference=of("Money"),
                shares=listing(
                    shape(
                        place=nullable(TEXT),
                        quantity=of("Quantity"),
                        value=of("Money"),
                        is_booked_there=FLAG,
                    )
                ),
            )
        ),
    ),
    "Unbilled": shape(
        receipt=UUID,
        booked_date=DAY,
        supplier=TEXT,
        material=TEXT,
        received=of("Quantity"),
        billed=of("Quantity"),
        unbilled=of("Quantity"),
        accrued=of("Money"),
    ),
    "StockRow": shape(
        place=TEXT,
        material=TEXT,
        owner=TEXT,
        lot=nullable(TEXT),
        quantity=of("Quantity"),
        value=of("Money"),
        received_date=nullable(DAY),
        age_days=nullable(WHOLE),
    ),
    "StockAge": shape(
        material=TEXT, ages=listing(shape(at_most_days=nullable(WHOLE), quantity=of("Quantity")))
    ),
    "WriteOffLimit": shape(limit=nullable(of("Money"))),
    "AccountTie": shape(
        account=TEXT,
        balance=of("Money"),
        in_stock=of("Money"),
        not_sealed=of("Money"),
        exported=of("Money"),
        not_exported=of("Money"),
    ),
    "AccountTies": shape(
        results=listing(of("AccountTie")), stock=shape(closing=of("Money"), in_accounts=of("Money"))
    ),
    "RolledForward": shape(
        material=TEXT, owner=TEXT, **{word: worth_schema(of("Quantity")) for word in ROLL_WORDS}
    ),
}
COMPONENTS["JournalBatch"] = {
    **COMPONENTS["JournalBatchHead"],
    "properties": {
        **COMPONENTS["JournalBatchHead"]["properties"],
        "lines": listing(of("JournalLine")),
        # As they went out and came back, before they were made anew under the same number.
        "rejected": listing(
            shape(
                made_at=MOMENT,
                made_by=of("Named"),
                answered_at=MOMENT,
                answer=TEXT,
                lines=listing(of("JournalLine")),
            )
        ),
    },
    "required": [*COMPONENTS["JournalBatchHead"]["required"], "lines", "rejected"],
}
