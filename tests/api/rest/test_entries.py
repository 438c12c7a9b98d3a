"""Entries through their door: every kind, sent again, sent otherwise, listed."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import Container, Entry, Movement
from inventory.queries.verification import verify_ledger
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.inventory import each, held

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/entries"


@pytest.fixture
def admin(client_of: ClientOf) -> APIClient:
    return client_of("admin")


def _post(client: APIClient, body: object) -> dict[str, object]:
    answer: dict[str, object] = assert_answer("make_entry", client.post(ADDRESS, body, format="json"))
    return answer


def test_receipt_saves_containers_and_keeps_the_amount_as_entered(admin: APIClient, office: Office) -> None:
    entry = _post(admin, requests.a_receipt())
    (movement,) = entry["movements"]  # type: ignore[misc]
    assert movement["quantity"] == {"value": "55.000000", "unit": "[gal_us]"}
    assert movement["entered"] == {"value": "55", "unit": "[gal_us]"}
    assert movement["value"] == {"value": "612.505", "currency": "USD"}
    assert Container.objects.get(label="D-9").capacity == 57_000_000
    assert Container.objects.get(label="T-1").state == "clean"
    assert held(office.world.warehouse, office.world.fluid, Container.objects.get(label="D-9")) == 55_000_000


def test_every_kind_makes_an_entry_and_leaves_a_book_that_adds_up(admin: APIClient, office: Office) -> None:
    drawn = requests.a_draw(office)
    back = requests.line("fluid", requests.gallons("1"), requests.span(office), requests.yard())
    caught = {
        "material": "fluid-recovered",
        "amount": requests.gallons("2"),
        "source": office.span.place.code,
        "target": {"place": "main-yard", "container": "T-1"},
    }
    pour = requests.line(
        "fluid",
        requests.gallons("3"),
        requests.yard(),
        {"place": "main-yard", "container": "D-9"},
    )
    bodies = [
        requests.a_receipt(),
        drawn,
        requests.request("return", lines=[back]),
        requests.request("recovery", caught=[caught]),
        requests.a_count(),
        requests.a_conversion(),
        requests.a_revaluation(),
        requests.a_report(office),
        requests.a_transfer(office),
        requests.a_reversal(requests.a_draw(office)),
        requests.a_disposal(),
    ]
    bodies[9]["reverses"] = bodies[4]["id"]
    without_room = requests.request("pour", lines=[pour])
    kinds = [_post(admin, body)["kind"] for body in bodies]
    assert kinds == [
        "receipt", "draw", "return", "report", "count", "conversion", "revaluation", "report", "transfer",
        "count", "disposal",
    ]  # fmt: skip
    assert_refusal(admin.post(ADDRESS, without_room, format="json"), 409, "not_enough_held")
    assert list(verify_ledger()) == []


def test_pour_names_both_containers(admin: APIClient, office: Office) -> None:
    _post(admin, requests.a_receipt())
    target = {"place": "main-yard", "container": "T-1"}
    line = requests.line("fluid", requests.gallons("3"), requests.yard(), target)
    entry = _post(admin, requests.request("pour", lines=[line]))
    (movement,) = entry["movements"]  # type: ignore[misc]
    assert (movement["source"]["container"], movement["target"]["container"]) == ("D-1", "T-1")


def test_entry_sent_again_gives_the_first_answer_and_makes_nothing(admin: APIClient, office: Office) -> None:
    for body in (requests.a_receipt(), requests.a_draw(office), requests.a_count()):
        first = _post(admin, body)
        count = Entry.objects.count(), Movement.objects.count(), Container.objects.count()
        assert _post(admin, body) == first
        assert (Entry.objects.count(), Movement.objects.count(), Container.objects.count()) == count


def test_other_content_under_the_same_id_is_a_conflict(admin: APIClient, office: Office) -> None:
    body = requests.a_draw(office)
    _post(admin, body)
    other = {**requests.a_draw(office, "6"), "id": body["id"]}
    assert_refusal(admin.post(ADDRESS, other, format="json"), 409, "entry_conflict")


def test_id_of_someone_else_is_a_conflict_that_tells_nothing(client_of: ClientOf, office: Office) -> None:
    body = requests.a_draw(office)
    _post(client_of("stores"), body)
    refusal = assert_refusal(client_of("admin").post(ADDRESS, body, format="json"), 409, "entry_conflict")
    assert "draw" not in refusal["detail"]


def test_label_in_use_is_refused_and_stores_nothing(admin: APIClient, office: Office) -> None:
    body = requests.a_receipt()
    body["containers"][0]["label"] = body["lines"][0]["target"]["container"] = "D-1"
    before = Entry.objects.count()
    assert_refusal(admin.post(ADDRESS, body, format="json"), 409, "label_taken")
    assert Entry.objects.count() == before


def test_plan_beyond_what_is_held_is_refused_and_a_report_of_it_is_taken(
    admin: APIClient, office: Office
) -> None:
    draw = requests.a_draw(office, "56")
    assert_refusal(admin.post(ADDRESS, draw, format="json"), 409, "not_enough_held")
    report = {**draw, "kind": "report"}
    purposes = {row["purpose"] for row in _post(admin, report)["movements"]}  # type: ignore[attr-defined]
    assert purposes == {"used", "book_short"}


def test_eleven_draws_of_five_leave_exactly_nothing(admin: APIClient, office: Office) -> None:
    for _draw in range(11):
        _post(admin, requests.a_draw(office))
    rows = admin.get("/api/v1/holdings", {"container": "D-1"}).json()["results"]
    assert rows == []


def test_entries_page_by_cursor_without_repeating_or_skipping(admin: APIClient, office: Office) -> None:
    every = [str(uuid) for uuid in Entry.objects.order_by("key").values_list("uuid", flat=True)]
    seen, cursor = [], None
    while True:
        page = assert_answer(
            "list_entries", admin.get(ADDRESS, {"limit": 2, **({"cursor": cursor} if cursor else {})})
        )
        seen += [row["id"] for row in page["results"]]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert seen == every
    newest = assert_answer("list_entries", admin.get(ADDRESS, {"sort": "-key"}))
    assert [row["id"] for row in newest["results"]] == every[::-1]


@pytest.mark.parametrize(
    ("parameters", "kinds"),
    [
        ({"job": "J-north"}, ["draw"]),
        ({"job": "J-south"}, []),
        ({"place": "span:J-north:S1"}, ["draw"]),
        ({"kind": "draw", "material": "fluid"}, ["draw"]),
        ({"kind": "draw", "material": "fibre-48"}, []),
        ({"container": "D-1"}, ["receipt", "draw"]),
        ({"actor": "user-admin"}, ["draw"]),
        ({"booked_on": "2026-03-02", "kind": "draw"}, ["draw"]),
        ({"booked_from": "2026-03-03"}, []),
        ({"booked_until": "2026-03-01"}, []),
    ],
)
def test_filters_narrow_the_list(
    admin: APIClient, office: Office, parameters: dict[str, str], kinds: list[str]
) -> None:
    _post(admin, requests.a_draw(office))
    page = assert_answer("list_entries", admin.get(ADDRESS, parameters))
    assert [row["kind"] for row in page["results"]] == kinds


def test_one_entry_is_found_by_its_id_in_either_case_and_at_its_location(
    admin: APIClient, office: Office
) -> None:
    body = requests.a_draw(office)
    made = admin.post(ADDRESS, body, format="json")
    assert assert_answer("get_entry", admin.get(made["Location"])) == made.json()
    assert admin.get(f"{ADDRESS}/{body['id'].upper()}/").json() == made.json()
    assert_refusal(admin.get(f"{ADDRESS}/{uuid4()}"), 404, "not_found")
    assert_refusal(admin.get(f"{ADDRESS}/none"), 404, "not_found")


def _count_queries(client: APIClient, address: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


@pytest.mark.parametrize("role", ["admin", "crew"])
@pytest.mark.parametrize("noun", ["entries", "holdings", "materials", "places", "containers", "jobs"])
def test_lists_ask_as_many_queries_for_one_row_as_for_ten(
    client_of: ClientOf, office: Office, role: str, noun: str
) -> None:
    for number in range(10):
        office.world.drum(f"N-{number}", 5, cost=10, place=office.crew.vehicle)
        office.world.loose(office.world.projectile, each(1))
    client = client_of(role)
    address = f"/api/v1/{noun}?limit="
    assert _count_queries(client, f"{address}1") == _count_queries(client, f"{address}10")


def test_posting_asks_no_more_queries_for_the_names_of_ten_lines(admin: APIClient, office: Office) -> None:
    def queries(lines: int) -> int:
        body = requests.a_draw(office, "1")
        body["lines"] *= lines
        with CaptureQueriesContext(connection) as captured:
            assert admin.post(ADDRESS, body, format="json").status_code == 201
        return len(captured)

    queries(1)
    assert queries(10) == queries(1)


@pytest.mark.parametrize("occurred_at", ["2026-03-04T12:00:01Z", "2027-03-02T12:00:00-06:00"])
def test_moment_to_come_is_refused(admin: APIClient, office: Office, occurred_at: str) -> None:
    for body in (requests.a_count(), requests.a_draw(office)):
        response = admin.post(ADDRESS, {**body, "occurred_at": occurred_at}, format="json")
        assert_refusal(response, 400, "bad_input", "/occurred_at")
    assert (
        admin.post(
            ADDRESS, {**requests.a_count(), "occurred_at": "2026-03-04T11:59:00Z"}, format="json"
        ).status_code
        == 201
    )


@pytest.mark.parametrize("lot", ["D-1", "L-projectiles", "L-customer"])
def test_receipt_into_a_layer_of_other_goods_is_refused(admin: APIClient, office: Office, lot: str) -> None:
    world = office.world
    lots = {"L-projectiles": (world.projectile, world.company), "L-customer": (world.fluid, world.customer)}
    for label, (material, owner) in lots.items():
        Container.objects.create(label=label, kind="lot", material=material, owner=owner)
    body = requests.a_receipt()
    body["lines"][0]["lot"] = lot
    assert_refusal(admin.post(ADDRESS, body, format="json"), 400, "bad_line", "/lines/0/lot")
    assert not Container.objects.filter(label="D-9").exists()
