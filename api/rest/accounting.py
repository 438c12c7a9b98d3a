"""What the accounts do: map, export, and decide together what one person may not do alone."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire import accounting_answers as answers
from api.wire import accounting_requests as requests
from api.wire.amounts import money_json
from api.wire.answers import make_writer, material_json
from api.wire.door import Door
from api.wire.filters import Filter, by_word
from api.wire.input_fields import read_day, read_uuid
from api.wire.pages import Order
from api.wire.references import resolve
from api.wire.schemas import of, page_of
from api.wire.tables import write_csv, write_workbook
from inventory.errors import BadInput, Fault, NotFound
from inventory.models import (
    AccountRule,
    JournalBatch,
    SecondWord,
)
from inventory.queries.access import (
    get_material,
    require_may_account,
    require_may_ask,
    require_sees_accounts,
    visible_second_words,
)
from inventory.queries.company import get_company
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.journal import answer_batch, make_batch, remake_batch, set_accounts
from inventory.services.accounting.periods import ask_to_reopen
from inventory.services.accounting.write_offs import (
    ask_for_revaluation,
    ask_for_write_down,
    ask_for_write_off,
)
from inventory.services.cost_formulas import set_cost_formula
from inventory.services.write_off_limit import ask_for_write_off_limit, set_write_off_limit

DAY = {"type": "string", "format": "date"}
BY_PK = Order("pk", is_number=True)
BY_NUMBER = Order("number", is_number=True)


class AccountsDoor(Door):
    """A door for who sees the accounts."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        require_sees_accounts(self.viewer)

    @property
    def currency(self) -> str:
        return get_company().currency

    def day(self, request: Request, name: str, *, is_needed: bool = True) -> Any:
        text = request.query_params.get(name)
        day = read_day(text) if text else None
        if day is None and (text or is_needed):
            raise BadInput.of([Fault(name, (text or "")[:60], "must be a day such as 2026-03-31")])
        return day


SECOND_WORD_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(SecondWord.Kind.values), "what is asked for"),
}


class SecondWords(ListDoor):
    """Requests that somebody else decides."""

    order = BY_PK
    filters = SECOND_WORD_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_second_words(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [answers.second_word_json(row, sees_money=self.viewer.may_see_money) for row in rows]

    @extend_schema(
        operation_id="list_second_words",
        parameters=list_parameters(BY_PK, SECOND_WORD_FILTERS),
        responses={200: OpenApiResponse(page_of("SecondWord"))},
    )
    def get(self, request: Request) -> Response:
        """List what was asked for and by whom it was decided."""
        return super().get(request)

    @extend_schema(
        operation_id="ask_for_second_word",
        request={"application/json": of("SecondWordRequest")},
        responses={201: OpenApiResponse(of("SecondWord"))},
    )
    def post(self, request: Request) -> Response:
        """Ask for a write-off, another value, a reopening or a higher limit: done once it is granted."""
        values = requests.read_second_word(request.data, now=now())
        kind = values.pop("kind")
        require_may_ask(self.viewer, kind)
        if kind == SecondWord.Kind.WRITE_OFF:
            values["lines"] = requests.make_write_off_lines(values, self.viewer)
            word = ask_for_write_off(by=self.actor, **values)
        elif kind == SecondWord.Kind.WRITE_DOWN:
            values["changes"] = requests.make_changes(values, self.viewer)
            word = ask_for_write_down(by=self.actor, **values)
        elif kind == SecondWord.Kind.REVALUE:
            word = ask_for_revaluation(by=self.actor, **requests.make_revaluation(values, self.viewer))
        elif kind == SecondWord.Kind.LIMIT:
            values["limit"] = resolve({"limit": values["limit"]}, viewer=self.viewer)["limit"]
            word = ask_for_write_off_limit(by=self.actor, **values)
        else:
            word = ask_to_reopen(by=self.actor, asked_at=values.pop("occurred_at"), **values)
        return Response(answers.second_word_json(word, sees_money=self.viewer.may_see_money), status=201)


class SecondWordDecision(Door):
    """What the second person says."""

    @extend_schema(
        operation_id="decide_second_word",
        request={"application/json": of("Decision")},
        responses={200: OpenApiResponse(of("SecondWord"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Grant a request, which does what it asks for, or refuse it. Never one's own."""
        uuid = read_uuid(id)
        if uuid is None:
            raise NotFound("There is no request of that id.")
        values = requests.read_request(request.data, requests.DECISION)
        require_may_account(self.viewer)
        word = give_second_word(id=uuid, by=self.actor, decided_at=now(), **values)
        return Response(answers.second_word_json(word, sees_money=self.viewer.may_see_money))


class Accounts(AccountsDoor):
    """Which account the value at a kind of place belongs to."""

    @extend_schema(operation_id="get_accounts", responses={200: OpenApiResponse(of("AccountMapping"))})
    def get(self, request: Request) -> Response:
        """Get the mapping."""
        return Response({"accounts": [answers.account_json(rule) for rule in AccountRule.objects.all()]})

    @extend_schema(
        operation_id="set_accounts",
        request={"application/json": of("AccountMappingRequest")},
        responses={200: OpenApiResponse(of("AccountMapping"))},
    )
    def put(self, request: Request) -> Response:
        """Replace the mapping as a whole."""
        values = requests.read_request(request.data, requests.MAPPING)
        require_may_account(self.viewer)
        rules = set_accounts(settings=requests.make_settings(values))
        return Response({"accounts": [answers.account_json(rule) for rule in rules]})


class CostFormula(AccountsDoor):
    """By which formula the cost of a material goes."""

    @extend_schema(
        operation_id="set_cost_formula",
        request={"application/json": of("CostFormulaRequest")},
        responses={200: OpenApiResponse(of("Material"))},
    )
    def put(self, request: Request, code: str) -> Response:
        """Set a material's cost formula before any of it is held; specific where IAS 2.23 allows it."""
        values = requests.read_request(request.data, requests.COST_FORMULA)
        require_may_account(self.viewer)
        material = set_cost_formula(material=get_material(self.viewer, code), **values)
        return Response(material_json(material, make_writer(self.viewer)))


class WriteOffLimit(AccountsDoor):
    """How much value one person may take off the books alone."""

    @extend_schema(operation_id="get_write_off_limit", responses={200: OpenApiResponse(of("WriteOffLimit"))})
    def get(self, request: Request) -> Response:
        """Get the limit; null where one person may write off anything."""
        return self._answer()

    @extend_schema(
        operation_id="set_write_off_limit",
        request={"application/json": of("WriteOffLimitRequest")},
        responses={200: OpenApiResponse(of("WriteOffLimit"))},
    )
    def put(self, request: Request) -> Response:
        """Set or lower the limit above which a second person has to agree; raising it is such a case."""
        values = requests.read_request(request.data, requests.WRITE_OFF_LIMIT)
        require_may_account(self.viewer)
        limit = resolve(values, viewer=self.viewer)["limit"]
        set_write_off_limit(limit=limit, by=self.actor, occurred_at=now())
        return self._answer()

    def _answer(self) -> Response:
        limit = get_company().write_off_limit
        return Response({"limit": money_json(limit, self.currency) if limit is not None else None})


class Batches(AccountsDoor, ListDoor):
    """Journal batches."""

    needs_key = True
    order = BY_NUMBER

    def rows(self) -> QuerySet[Any]:
        return JournalBatch.objects.select_related("made_by")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [answers.batch_json(row, None, self.currency) for row in rows]

    @extend_schema(
        operation_id="list_journal_batches",
        parameters=list_parameters(BY_NUMBER, {}),
        responses={200: OpenApiResponse(page_of("JournalBatchHead"))},
    )
    def get(self, request: Request) -> Response:
        """List the batches that were made, without their lines."""
        return super().get(request)

    @extend_schema(
        operation_id="make_journal_batch",
        request={"application/json": of("JournalBatchRequest")},
        responses={201: OpenApiResponse(of("JournalBatch"))},
    )
    def post(self, request: Request) -> Response:
        """Write what changed since the last batch as the next one."""
        values = requests.read_request(request.data, requests.BATCH)
        require_may_account(self.viewer)
        batch = make_batch(by=self.actor, made_at=now(), **values)
        return Response(_whole_batch(batch, self.currency), status=201)


def _whole_batch(batch: JournalBatch, currency: str) -> dict[str, Any]:
    return answers.batch_json(batch, list(batch.lines.select_related("job_place", "batch")), currency)


def _get_batch(number: int) -> JournalBatch:
    batch = JournalBatch.objects.select_related("made_by").filter(number=number).first()
    if batch is None:
        raise NotFound("There is no batch of that number.")
    return batch


class OneBatch(AccountsDoor):
    """One batch with its lines."""

    @extend_schema(operation_id="get_journal_batch", responses={200: OpenApiResponse(of("JournalBatch"))})
    def get(self, request: Request, number: int) -> Response:
        """Get a batch with its lines."""
        return Response(_whole_batch(_get_batch(number), self.currency))


class BatchFile(AccountsDoor):
    """One batch as a file."""

    @extend_schema(
        operation_id="get_journal_batch_file",
        responses={(200, "text/csv"): {"type": "string"}},
    )
    def get(self, request: Request, number: int, ending: str) -> HttpResponse:
        """Get a batch as CSV or as a workbook (`csv` or `xlsx`)."""
        batch = _get_batch(number)
        lines = list(batch.lines.select_related("job_place", "batch"))
        headings, rows = answers.journal_table(lines, self.currency)
        return answer_file(f"journal-{number}", ending, headings, rows)


def answer_file(name: str, ending: str, headings: list[str], rows: list[list[str]]) -> HttpResponse:
    """A table as a file to keep."""
    if ending == "csv":
        body, kind = write_csv(headings, rows), "text/csv; charset=utf-8"
    elif ending == "xlsx":
        body = write_workbook(name, headings, rows)
        kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    else:
        raise NotFound("It can be had as csv or xlsx.")
    return HttpResponse(
        body, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}.{ending}"'}
    )


class BatchAnswer(AccountsDoor):
    """What the reader of a batch says of it."""

    @extend_schema(
        operation_id="answer_journal_batch",
        request={"application/json": of("BatchAnswer")},
        responses={200: OpenApiResponse(of("JournalBatch"))},
    )
    def post(self, request: Request, number: int) -> Response:
        """Say that a batch was accepted, or rejected and why."""
        values = requests.read_request(request.data, requests.ANSWER)
        require_may_account(self.viewer)
        batch = answer_batch(number=number, answered_at=now(), **values)
        return Response(_whole_batch(batch, self.currency))


class BatchRemaking(AccountsDoor):
    """A rejected batch, written anew."""

    @extend_schema(
        operation_id="remake_journal_batch",
        request=None,
        responses={200: OpenApiResponse(of("JournalBatch"))},
    )
    def post(self, request: Request, number: int) -> Response:
        """Write a rejected batch anew under its number, by the accounts as they are now."""
        require_may_account(self.viewer)
        return Response(
            _whole_batch(remake_batch(number=number, by=self.actor, made_at=now()), self.currency)
        )
