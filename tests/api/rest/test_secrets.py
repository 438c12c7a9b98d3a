"""What a crew must not learn, by any way that an answer may tell it; and what it must be able to do still."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import Container, Entry, Place
from inventory.queries.verification import verify_ledger
from tests.api.graphql.asking import ask
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/entries"


def _move(label: str, place: str, **fields: Any) -> dict[str, Any]:
    return requests.request("transfer", containers=[{"container": label, "place": place}], **fields)


def _post(client: APIClient, body: dict[str, Any]) -> dict[str, Any]:
    response = client.post(ADDRESS, body, format="json")
    assert response.status_code == 201, response.content
    answer: dict[str, Any] = response.json()
    return answer


def _mixed_report(office: Office) -> dict[str, Any]:
    """One entry with a line of the north crew and another of the south crew."""
    own = requests.line("fluid", requests.gallons("1"), requests.truck(office), requests.span(office))
    foreign = requests.line(
        "fluid",
        requests.gallons("1"),
        {"place": "truck-south", "container": "D-south"},
        {"place": office.foreign_span.place.code},
    )
    return requests.request("report", lines=[own, foreign])


def test_drum_that_left_ones_truck_is_not_followed(client_of: ClientOf) -> None:
    crew = client_of("crew")
    _post(crew, _move("D-north", "truck-south"))
    _post(client_of("stores"), _move("D-north", "main-yard"))
    assert crew.get("/api/v1/containers/D-north").status_code == 404
    assert crew.get("/api/v1/containers").json()["results"] == []


@pytest.mark.parametrize("is_empty", [False, True])
def test_crew_picks_up_the_drum_that_it_dropped(client_of: ClientOf, office: Office, is_empty: bool) -> None:
    crew = client_of("crew")
    if is_empty:
        line = requests.line("fluid", "rest", requests.truck(office), requests.span(office))
        _post(crew, requests.request("report", lines=[line]))
    _post(crew, _move("D-north", "site-1"))
    assert crew.get("/api/v1/containers/D-north").json()["place"]["code"] == "site-1"
    _post(crew, _move("D-north", "truck-north"))
    assert Container.objects.get(label="D-north").place == office.crew.vehicle


@pytest.mark.parametrize("is_empty", [False, True])
def test_hand_over_sent_again_gives_the_first_answer(
    client_of: ClientOf, office: Office, is_empty: bool
) -> None:
    crew = client_of("crew")
    if is_empty:
        line = requests.line("fluid", "rest", requests.truck(office), requests.span(office))
        _post(crew, requests.request("report", lines=[line]))
    body = _move("D-north", "truck-south")
    assert _post(crew, body) == _post(crew, body)


def test_id_of_ones_own_entry_does_not_tell_what_exists(client_of: ClientOf, office: Office) -> None:
    crew, body = client_of("crew"), _move("D-north", "truck-south")
    _post(crew, body)
    for field, foreign, unknown in (
        ("container", "D-south", "D-no-such"),
        ("place", "main-yard", "no-such-yard"),
    ):
        row = {"container": "D-north", "place": "truck-south"}
        answers = [
            crew.post(ADDRESS, {**body, "containers": [{**row, field: name}]}, format="json")
            for name in (foreign, unknown)
        ]
        texts = [
            answer.content.decode().replace(name, "X")
            for answer, name in zip(answers, (foreign, unknown), strict=True)
        ]
        assert answers[0].status_code == answers[1].status_code == 400
        assert texts[0] == texts[1]


@pytest.mark.parametrize(
    "query", ["place=truck-south", "container=D-south", "job=J-south", "material=projectile-12"]
)
def test_filter_of_entries_does_not_tell_of_lines_that_are_hidden(
    client_of: ClientOf, office: Office, query: str
) -> None:
    body = _mixed_report(office)
    body["lines"].append(
        requests.line(
            "projectile-12",
            {"value": "1", "unit": "1"},
            {"place": "main-yard"},
            {"place": office.foreign_span.place.code},
        )
    )
    _post(client_of("admin"), body)
    crew, name = client_of("crew"), query.split("=")
    assert crew.get(f"{ADDRESS}?{query}").json()["results"] == []
    found = ask(crew, f'{{ entries({name[0]}: "{name[1]}") {{ edges {{ node {{ uuid }} }} }} }}')
    assert found["entries"]["edges"] == []
    assert len(client_of("admin").get(f"{ADDRESS}?{query}").json()["results"]) >= 1


def test_reversal_does_not_name_what_hidden_lines_moved(client_of: ClientOf, office: Office) -> None:
    own = requests.line("fluid", requests.gallons("1"), requests.truck(office), requests.span(office))
    body = requests.request(
        "report",
        lines=[own, requests.line("fluid", requests.gallons("1"), requests.yard(), requests.span(office))],
    )
    body["lines"][1]["target"] = {"place": office.foreign_span.place.code}
    _post(client_of("admin"), body)
    response = client_of("crew").post(ADDRESS, requests.a_reversal(body), format="json")
    assert response.status_code == 403
    assert "yard" not in response.content.decode().lower()


def test_place_does_not_name_the_hidden_one_that_it_lies_in(client_of: ClientOf, office: Office) -> None:
    Place.objects.filter(code="truck-south").update(parent=office.world.warehouse)
    Place.objects.create(code="site-9", name="Site 9", kind="site", parent=office.foreign_job.place)
    crew = client_of("crew")
    for code in ("truck-south", "site-9"):
        assert crew.get(f"/api/v1/places/{code}").json()["parent"] is None
    assert {row["parent"] for row in crew.get("/api/v1/places?kind=site").json()["results"]} == {None}
    for parent in ("main-yard", "job:J-south", "no-such"):
        assert crew.get(f"/api/v1/places?parent={parent}").json()["results"] == []
    assert client_of("stores").get("/api/v1/places/truck-south").json()["parent"] == "main-yard"


@pytest.mark.parametrize("role", ["crew", "safety"])
def test_who_sees_no_money_does_not_see_it_move(client_of: ClientOf, office: Office, role: str) -> None:
    body = requests.a_revaluation()
    body["changes"][0]["place"] = "truck-north"
    body["reason"] = "aged, 10.00 USD less"
    made = _post(client_of("accounts"), body)
    client = client_of(role)
    assert client.get(f"{ADDRESS}/{made['id']}").status_code == 404
    assert "10.00" not in client.get(ADDRESS).content.decode()
    assert client_of("stores").get(f"{ADDRESS}/{made['id']}").status_code == 200


def test_entry_that_moved_nothing_is_shown_to_who_made_it(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    rest = requests.line("projectile-12", "rest", {"place": "truck-north"}, requests.span(office))
    made = _post(crew, requests.request("report", lines=[rest]))
    assert made["movements"] == []
    assert crew.get(f"{ADDRESS}/{made['id']}").status_code == 200
    assert Entry.objects.filter(uuid=made["id"]).exists()


def test_every_door_refuses_the_unknown_and_the_foreign_alike(client_of: ClientOf, office: Office) -> None:
    foreign = _post(
        client_of("admin"),
        requests.a_draw(office, "1")
        | {
            "lines": [
                requests.line("fluid", requests.gallons("1"), requests.yard(), {"place": "span:J-south:S1"})
            ]
        },
    )["id"]
    crew = client_of("crew")
    pairs = [
        ("entries/{}", foreign, str(uuid4())),
        ("places/{}", "main-yard", "no-such"),
        ("containers/{}", "D-south", "no-such"),
        ("jobs/{}", "J-south", "no-such"),
        ("jobs/{}/statement", "J-south", "no-such"),
        ("pull-sheets/{}/2026-03-02", "south", "no-such"),
        ("pull-sheets?crew={}&date=2026-03-02", "south", "no-such"),
        ("containers?place={}", "main-yard", "no-such"),
        ("holdings?container={}", "D-south", "no-such"),
    ]
    for address, name, unknown in pairs:
        answers = [crew.get(f"/api/v1/{address.format(word)}") for word in (name, unknown)]
        assert answers[0].status_code == answers[1].status_code, address
        assert answers[0].content == answers[1].content, address
    for noun, argument, name in (
        ("place", "code", "main-yard"),
        ("container", "label", "D-south"),
        ("job", "reference", "J-south"),
    ):
        texts = [
            crew.post(
                "/graphql", {"query": f'{{ {noun}({argument}: "{word}") {{ id }} }}'}, format="json"
            ).content
            for word in (name, "x" * len(name))
        ]
        assert texts[0] == texts[1]


def test_report_that_comes_after_the_hand_over_is_taken(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    _post(crew, {**_move("D-north", "truck-south"), "occurred_at": "2026-03-02T15:00:00-06:00"})
    _post(crew, requests.a_report(office))
    assert Container.objects.get(label="D-north").place == office.foreign_crew.vehicle
    assert list(verify_ledger()) == []


def test_plan_with_a_drum_that_has_left_does_not_tell_where_it_stands(client_of: ClientOf) -> None:
    crew = client_of("crew")
    _post(crew, _move("D-north", "truck-south"))
    _post(client_of("stores"), _move("D-north", "main-yard"))
    for fields, status in (({}, 400), ({"as_report": True}, 403)):
        response = crew.post(ADDRESS, _move("D-north", "truck-north", **fields), format="json")
        assert response.status_code == status
        assert "yard" not in response.content.decode().lower()


@pytest.mark.parametrize("role", ["crew", "safety"])
def test_no_door_shows_money_to_who_may_see_none(client_of: ClientOf, office: Office, role: str) -> None:
    office.world.fluid.standard_unit_cost = 9_876_543
    office.world.fluid.save()
    _post(client_of("admin"), requests.a_report(office))
    client = client_of(role)
    for address in (
        "jobs/J-north/statement",
        "pull-sheets/north/2026-03-02",
        "materials/fluid",
        "holdings",
        "entries",
    ):
        text = client.get(f"/api/v1/{address}").content.decode()
        assert "USD" not in text, address
        assert "9.876543" not in text, address
    found = ask(
        client,
        """{ material(code: "fluid") { standardUnitCost { value } }
             holdings { edges { node { unitCost { value } } } }
             entries { edges { node { movements { value { value } } } } }
             statement(job: "J-north") { cost { value } bookValue { value } agreesWithBook
               materials { cost { value } values { used { value } } } parts { cost { value } } } }""",
    )
    assert _list_leaves(found) == {None}


def _list_leaves(value: Any) -> set[Any]:
    if isinstance(value, dict):
        return set().union(*(_list_leaves(part) for part in value.values()))
    if isinstance(value, list):
        return set().union(*(_list_leaves(part) for part in value))
    return {value}


@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete", "options", "head"])
def test_nobody_is_answered_by_any_door_but_sign_in_first(
    client_of: ClientOf, office: Office, method: str
) -> None:
    nobody = client_of("")
    for address in ("entries", "entries/x", "holdings", "places/main-yard", "jobs/J-north/statement"):
        for path in (f"/api/v1/{address}", "/graphql"):
            response = getattr(nobody, method)(path, data=None, format=None)
            assert response.status_code == 401, (method, path)
