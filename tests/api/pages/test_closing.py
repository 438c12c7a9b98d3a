"""Closing a period by a page, and what a second person decides."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import now

from inventory.models import Company, Entry, Holding, SecondWord
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.models import PeriodClosing
from jobs.services.closing import take_closing, work_closing
from tests.factories.accounts import Office, make_user
from tests.factories.inventory import at, gal, held

Browse = Callable[[str], Client]


def _close(client: Client, **more: str) -> str:
    sent = {"id": str(uuid4()), "last_date": "2026-03-31", "remark": "the crew is away", **more}
    answer = client.post("/closing", sent)
    if answer.status_code == 302:
        closing = take_closing(now=now())
        if closing is not None:
            work_closing(closing=closing, now=now())
        return ""
    return answer.content.decode()


def test_closing_wants_a_remark_while_points_are_open_and_shows_how_far_it_is(browse: Browse) -> None:
    client = browse("accounts")
    refused = _close(client, remark="")
    assert 'role="alert"' in refused
    assert not PeriodClosing.objects.exists()
    sent = {"id": str(uuid4()), "last_date": "2026-03-31", "remark": "the crew is away"}
    for _ in range(2):
        assert client.post("/closing", sent)["Location"] == "/closing?date=2026-03-31"
    closing = take_closing(now=now())
    assert closing is not None
    assert "<progress" in client.get("/closing").content.decode()
    work_closing(closing=closing, now=now())
    text = client.get("/closing").content.decode()
    assert "<progress" not in text
    assert "closed until Tue 31 Mar 2026" in text
    assert "the crew is away" in text


def test_what_is_told_late_is_listed_with_its_true_day(browse: Browse, office: Office) -> None:
    client = browse("accounts")
    assert "Nothing about closed days" in client.get("/closing").content.decode()
    _close(client)
    source = End(office.world.warehouse, Holding.objects.get(container__label="D-1").container)
    line = Line(office.world.fluid, gal(2), source, End(office.span.place))
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(2), lines=[line], reason="found in a pocket")
    entry = Entry.objects.get(reason="found in a pocket")
    text = client.get("/closing").content.decode()
    assert f'href="/entries/{entry.uuid}"' in text
    assert entry.booked_date > Company.objects.get().books_closed_until  # type: ignore[operator]


def test_reopening_is_asked_by_one_and_granted_by_another(browse: Browse) -> None:
    client = browse("accounts")
    _close(client)
    sent = {"id": str(uuid4()), "reopen": "2026-03-31", "reason": ""}
    assert "must say why" in client.post("/closing", sent).content.decode()
    assert client.post("/closing", {**sent, "reason": "a count was missed"})["Location"] == "/second-words"
    word = SecondWord.objects.get()
    own = client.post("/second-words", {"word": str(word.uuid), "is_granted": "yes"})
    assert "Who asks does not decide" in own.content.decode()
    assert Company.objects.get().books_closed_until is not None
    other = browse("admin")
    text = other.get("/second-words").content.decode()
    assert "a count was missed" in text
    assert other.post("/second-words", {"word": str(word.uuid), "is_granted": "yes"}).status_code == 302
    assert Company.objects.get().books_closed_until is None


@pytest.mark.parametrize(("said", "left"), [("yes", 45_000_000), ("no", 55_000_000)])
def test_write_off_is_done_when_another_grants_it(
    browse: Browse, office: Office, said: str, left: int
) -> None:
    client = browse("stores")
    drum = Holding.objects.get(container__label="D-1")
    sent = {
        "id": str(uuid4()),
        "goods": drum.key,
        "amount": "10",
        "amount-unit": "[gal_us]",
        "reason": "leaked in the yard",
    }
    assert client.post("/second-words", sent).status_code == 302
    word = SecondWord.objects.get()
    assert word.asked_by == office.users["stores"].actor
    decided = browse("accounts").post("/second-words", {"word": str(word.uuid), "is_granted": said})
    assert decided.status_code == 302
    assert held(office.world.warehouse, office.world.fluid, drum.container) == left


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"goods": "x"}, "goods"), ({"amount": "lots"}, "amount"), ({"reason": " "}, "reason")],
)
def test_request_that_is_wrong_names_its_field_and_keeps_the_rest(
    browse: Browse, changes: dict[str, str], field: str
) -> None:
    drum = Holding.objects.get(container__label="D-1")
    sent = {
        "id": str(uuid4()),
        "goods": drum.key,
        "amount": "10",
        "amount-unit": "[gal_us]",
        "reason": "leaked in the yard",
        **changes,
    }
    text = browse("stores").post("/second-words", sent).content.decode()
    assert f'id="{field}-fault"' in text
    assert sent["id"] in text
    assert not SecondWord.objects.exists()


@pytest.mark.parametrize("role", ["crew", "planner", "safety", "stores"])
def test_only_the_accounts_close_and_decide(browse: Browse, office: Office, role: str) -> None:
    client = browse(role)
    assert client.post("/closing", {"id": str(uuid4()), "last_date": "2026-03-31"}).status_code == 403
    assert not PeriodClosing.objects.exists()
    asked = browse("accounts")
    _close(asked)
    asked.post("/closing", {"id": str(uuid4()), "reopen": "2026-03-31", "reason": "a count was missed"})
    word = SecondWord.objects.get()
    answer = client.post("/second-words", {"word": str(word.uuid), "is_granted": "yes"})
    word.refresh_from_db()
    assert answer.status_code in {200, 403}
    assert word.decided_at is None


def test_pages_ask_as_often_however_many_wait(browse: Browse, office: Office) -> None:
    client = browse("accounts")
    _close(client)

    def ask() -> None:
        user = make_user(f"clerk-{uuid4().hex[:6]}", "accounts")
        other = Client()
        other.force_login(user)
        sent = {"id": str(uuid4()), "reopen": "2026-03-31", "reason": "a count was missed"}
        assert other.post("/closing", sent).status_code == 302

    ask()
    before = [_count(client, page) for page in ("/closing", "/second-words")]
    for _ in range(4):
        ask()
    assert [_count(client, page) for page in ("/closing", "/second-words")] == before


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
