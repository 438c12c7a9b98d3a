"""Batches for the general ledger: made, looked at, taken away as a file, answered and made anew."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.timezone import now

from api.pages.asked import Asked
from api.pages.page import Page
from api.wire import accounting_requests as requests
from api.wire.accounting_answers import journal_table
from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import AccountRule, Entry, JournalBatch
from inventory.queries.access import require_may_account, require_sees_accounts
from inventory.services.accounting.journal import answer_batch, make_batch, remake_batch

MOST_BATCHES = 50


class Batches(Page):
    """The batches that went out, and making the next one."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_batches(Asked())

    def post(self, request: HttpRequest) -> HttpResponse:
        require_may_account(self.viewer)
        asked = Asked(request.POST.dict())
        try:
            self._refuse_second(asked)
            values = requests.read_request({"booked_until": asked.text("booked_until")}, requests.BATCH)
            batch = make_batch(by=self.actor, made_at=now(), **values)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_batches(asked)
        return redirect("pages:batch", batch.number)

    def _refuse_second(self, asked: Asked) -> None:
        """A form that is sent twice made its batch the first time."""
        last = JournalBatch.objects.order_by("number").last()
        if asked.text("after") != (str(last.number) if last else "0"):
            raise BadInput.of([Fault("/after", "", "another batch was made since; look at it first")])

    def _show_batches(self, asked: Asked) -> HttpResponse:
        require_sees_accounts(self.viewer)
        batches = list(JournalBatch.objects.select_related("made_by").order_by("-number")[:MOST_BATCHES])
        return self.show(
            "batches",
            batches=batches,
            asked=asked,
            refusal=asked.refusal,
            last=batches[0].number if batches else 0,
            has_accounts=AccountRule.objects.exists(),
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
        )


class Batch(Page):
    """One batch with its lines: answered by who reads it, and made anew when it came back."""

    def get(self, request: HttpRequest, number: int) -> HttpResponse:
        return self._show_batch(number, Asked())

    def post(self, request: HttpRequest, number: int) -> HttpResponse:
        require_may_account(self.viewer)
        asked = Asked(request.POST.dict())
        try:
            if "anew" in request.POST:
                remake_batch(number=number, by=self.actor, made_at=now())
            else:
                self._answer(number, asked)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_batch(number, asked)
        return redirect("pages:batch", number)

    def _answer(self, number: int, asked: Asked) -> None:
        said = asked.text("is_accepted")
        if said not in {"yes", "no"}:
            raise BadInput.of([Fault("/is_accepted", said, "must be yes or no")])
        if said == "no" and not asked.text("answer"):
            raise BadInput.of([Fault("/answer", "", "must say why it came back")])
        body = {"is_accepted": said == "yes", "answer": asked.text("answer")}
        values = requests.read_request(body, requests.ANSWER)
        answer_batch(number=number, answered_at=now(), **values)

    def _show_batch(self, number: int, asked: Asked) -> HttpResponse:
        require_sees_accounts(self.viewer)
        batch = JournalBatch.objects.select_related("made_by").filter(number=number).first()
        if batch is None:
            raise NotFound("There is no batch of that number.")
        lines = list(batch.lines.select_related("job_place", "batch"))
        headings, rows = journal_table(lines, self.company.currency)
        shown = [headings.index(name) for name in ("line", "account", "job", "debit", "credit")]
        return self.show(
            "batch",
            batch=batch,
            rows=[[row[column] for column in shown] for row in rows],
            rejected=list(batch.rejected.select_related("made_by")),
            asked=asked,
            refusal=asked.refusal,
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
        )
