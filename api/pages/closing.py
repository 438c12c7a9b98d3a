"""Closing a period and what two persons decide together: asked by the one, decided by another."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.timezone import now

from api.pages.asked import Asked, common_units
from api.pages.page import Page
from api.wire import accounting_requests as requests
from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import AccountingPeriod, Entry, SecondWord
from inventory.queries.access import (
    require_may_account,
    require_may_ask,
    require_sees_accounts,
    visible_holdings,
    visible_second_words,
)
from inventory.queries.late_entries import list_late_entries
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.periods import ask_to_reopen
from inventory.services.accounting.write_offs import ask_for_write_off
from jobs.models import PeriodClosing
from jobs.queries.closing_checks import list_closing_points
from jobs.queries.period_closings import find_state, list_closings
from jobs.services.closing import ask_to_close

MOST_CLOSINGS, MOST_WORDS, MOST_HELD = 10, 50, 300


class Closing(Page):
    """What is still open before a period is closed, closing it, and what was told late."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_list(Asked())

    def post(self, request: HttpRequest) -> HttpResponse:
        """Ask that the days be closed, or that the last closed ones be opened again."""
        require_may_account(self.viewer)
        asked = Asked(request.POST.dict())
        try:
            if "reopen" in request.POST:
                body = {
                    "kind": "reopen",
                    "id": asked.text("id"),
                    "occurred_at": now().isoformat(),
                    "reason": asked.text("reason"),
                    "last_date": asked.text("reopen"),
                }
                values = requests.read_second_word(body, now=now())
                values.pop("kind")
                ask_to_reopen(by=self.actor, asked_at=values.pop("occurred_at"), **values)
                return redirect("pages:second_words")
            body = {name: asked.text(name) for name in ("id", "last_date", "remark")}
            values = requests.read_request(body, requests.CLOSING)
            ask_to_close(by=self.actor, occurred_at=now(), **values)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_list(asked)
        return redirect(f"{reverse('pages:closing')}?date={values['last_date']}")

    def _show_list(self, asked: Asked) -> HttpResponse:
        require_sees_accounts(self.viewer)
        usual = self.day if "date" in self.request.GET else self.day.replace(day=1) - timedelta(days=1)
        return self.show(
            "closing",
            until=usual,
            points=list_closing_points(usual),
            company=self.company,
            asked=asked,
            refusal=asked.refusal,
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
            closings=[_show_closing(row) for row in list_closings().order_by("-pk")[:MOST_CLOSINGS]],
            period=AccountingPeriod.objects.filter(reopened_at=None).order_by("last_date").last(),
            late=list_late_entries(self.viewer, company=self.company),
            request_id=asked.text("id") or uuid4(),
        )


class SecondWords(Page):
    """Requests that somebody else decides, and asking for a write-off."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_words(Asked())

    def post(self, request: HttpRequest) -> HttpResponse:
        """Decide about a request, or ask that goods be written off."""
        asked = Asked(request.POST.dict())
        try:
            if "word" in request.POST:
                self._decide(asked)
            else:
                self._ask(asked)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_words(asked)
        return redirect("pages:second_words")

    def _decide(self, asked: Asked) -> None:
        require_may_account(self.viewer)
        said = asked.text("is_granted")
        if said not in {"yes", "no"}:
            raise BadInput.of([Fault("/is_granted", said, "must be yes or no")])
        body = {"is_granted": said == "yes", "note": asked.text("note")}
        values = requests.read_request(body, requests.DECISION)
        give_second_word(id=self.posted_id("word"), by=self.actor, decided_at=now(), **values)

    def _ask(self, asked: Asked) -> None:
        require_may_ask(self.viewer, SecondWord.Kind.WRITE_OFF)
        held = visible_holdings(self.viewer).filter(key=asked.text("goods")).first()
        if held is None:
            raise BadInput.of([Fault("/goods", asked.text("goods"), "choose what is to be written off")])
        asked.moved = {"lines-0-amount": "amount", "lines-0": "goods"}
        source = {"place": held.place.code, "container": held.container.label if held.container else None}
        line = {
            "material": held.material.code,
            "amount": asked.amount("amount") or "rest",
            "source": source,
            "target": {"place": "waste"},
        }
        body = {
            "kind": "write_off",
            "id": asked.text("id"),
            "occurred_at": now().isoformat(),
            "reason": asked.text("reason"),
            "lines": [line],
        }
        values = requests.read_second_word(body, now=now())
        values.pop("kind")
        values["lines"] = requests.make_write_off_lines(values, self.viewer)
        ask_for_write_off(by=self.actor, **values)

    def _show_words(self, asked: Asked) -> HttpResponse:
        may_ask = Entry.Kind.DISPOSAL in self.viewer.postable
        if not may_ask:
            require_sees_accounts(self.viewer)
        words = list(visible_second_words(self.viewer).order_by("-pk")[:MOST_WORDS])
        related = ("place", "material", "container")
        held = visible_holdings(self.viewer).select_related(*related).order_by("material__name", "key")
        return self.show(
            "second_words",
            asked=asked,
            refusal=asked.refusal,
            waiting=[word for word in words if word.decided_at is None],
            decided=[word for word in words if word.decided_at is not None],
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
            own=self.user.actor_id,
            may_ask=may_ask,
            goods=[("", "choose"), *((row.key, self._name(row)) for row in held[:MOST_HELD])]
            if may_ask
            else [],
            units=common_units(),
            request_id=asked.text("id") or uuid4(),
        )

    def _name(self, row: Any) -> str:
        where = f"{row.container.label} in {row.place.name}" if row.container else row.place.name
        return f"{row.material.name}, {where}: {self.units.write(row.quantity, row.material.stock_unit)}"


def _show_closing(row: PeriodClosing) -> dict[str, Any]:
    return {"row": row, "state": find_state(row, now=now())}
