"""Goods written off or given another value by two persons: the one asks, granting it does it."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Material, Place, SecondWord
from inventory.services.corrections import Revaluation, dispose, revalue
from inventory.services.lines import Line, require_kind
from inventory.services.posting import REST, End
from inventory.services.posting.special_places import get_special_place
from inventory.services.second_word import ask_for_second_word
from inventory.units import parse_amount


def ask_for_write_off(
    *, id: UUID, by: Actor, occurred_at: datetime, lines: Sequence[Line], reason: str, document: str = ""
) -> SecondWord:
    """Ask that goods be disposed of: lines as `dispose` takes them."""
    if not lines:
        raise BadInput.of([Fault("/lines", "", "must name at least one line to write off")])
    body = {
        "occurred_at": occurred_at.isoformat(),
        "document": document,
        "lines": [_line_form(line) for line in lines],
    }
    return ask_for_second_word(
        id=id, kind=SecondWord.Kind.WRITE_OFF, by=by, asked_at=occurred_at, reason=reason, body=body
    )


def ask_for_write_down(
    *, id: UUID, by: Actor, occurred_at: datetime, changes: Sequence[Revaluation], reason: str
) -> SecondWord:
    """Ask that goods be written down to what they would still fetch (IAS 2.28-33): changes below zero."""
    for number, change in enumerate(changes):
        if change.change >= 0:
            message = "must be below zero; value is put back by a revaluation"
            raise BadInput.of([Fault(f"/changes/{number}/change", str(change.change), message)])
    body = {"occurred_at": occurred_at.isoformat(), "changes": _changes_form(changes)}
    return ask_for_second_word(
        id=id, kind=SecondWord.Kind.WRITE_DOWN, by=by, asked_at=occurred_at, reason=reason, body=body
    )


def ask_for_revaluation(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    changes: Sequence[Revaluation],
    against: Place,
    reason: str,
    document: str = "",
) -> SecondWord:
    """Ask for another value of goods against a supplier or price variance, where there is no bill."""
    require_kind(against, {Place.Kind.PRICE_VARIANCE, Place.Kind.SUPPLIER}, pointer="/against")
    body = {
        "occurred_at": occurred_at.isoformat(),
        "against": against.code,
        "document": document,
        "changes": _changes_form(changes),
    }
    return ask_for_second_word(
        id=id, kind=SecondWord.Kind.REVALUE, by=by, asked_at=occurred_at, reason=reason, body=body
    )


def carry_out_write_off(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Dispose of what a granted request names, in the name of who asked; `by` is named in the reason."""
    dispose(
        id=uuid5(word.uuid, "entry"),
        by=word.asked_by,
        occurred_at=datetime.fromisoformat(word.body["occurred_at"]),
        lines=[_read_line(form) for form in word.body["lines"]],
        reason=_reason(word, by),
        document=word.body["document"],
        is_agreed=True,
    )


def carry_out_write_down(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Write down what a granted request names."""
    _revalue(word, by, get_special_place(Place.Kind.WRITE_DOWN))


def carry_out_revaluation(word: SecondWord, by: Actor, decided_at: datetime) -> None:
    """Change the value of what a granted request names."""
    _revalue(word, by, Place.objects.get(code=word.body["against"]))


def _revalue(word: SecondWord, by: Actor, against: Place) -> None:
    revalue(
        id=uuid5(word.uuid, "entry"),
        by=word.asked_by,
        occurred_at=datetime.fromisoformat(word.body["occurred_at"]),
        changes=[
            Revaluation(
                Material.objects.get(code=material), Place.objects.get(code=place), change, _container(lot)
            )
            for material, place, change, lot in word.body["changes"]
        ],
        against=against,
        reason=_reason(word, by),
        document=word.body.get("document", ""),
        is_agreed=True,
    )


def _changes_form(changes: Sequence[Revaluation]) -> list[list[object]]:
    if not changes:
        raise BadInput.of([Fault("/changes", "", "must name at least one material")])
    return [
        [change.material.code, change.place.code, change.change, change.lot.label if change.lot else None]
        for change in changes
    ]


def _reason(word: SecondWord, by: Actor) -> str:
    return f"{word.reason[:400]} (agreed by {by.name[:80]})"


def _line_form(line: Line) -> dict[str, Any]:
    return {
        "material": line.material.code,
        "amount": None if line.amount is REST else [str(line.amount.value), line.amount.unit],
        "source": _end_form(line.source),
        "target": _end_form(line.target),
        "cause": line.cause,
    }


def _end_form(end: End) -> list[str | None]:
    return [end.place.code, end.container.label if end.container else None]


def _read_line(form: dict[str, Any]) -> Line:
    amount = REST if form["amount"] is None else parse_amount(*form["amount"])
    return Line(
        Material.objects.get(code=form["material"]),
        amount,
        _read_end(form["source"]),
        _read_end(form["target"]),
        cause=form["cause"],
    )


def _read_end(form: list[str | None]) -> End:
    place, container = form
    return End(Place.objects.get(code=place), _container(container))


def _container(label: str | None) -> Container | None:
    return Container.objects.get(label=label) if label else None
