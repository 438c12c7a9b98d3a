"""Files that are taken in the background: sent, worked on, lost in the middle, told of row by row."""

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from api.imports import asking, working
from api.models import BulkImport, ImportedRow
from api.tasks import work_imports
from inventory.models import DomainEvent, Entry, Holding
from jobs.models import CrewDayStep, FieldReport, Span
from tests.api.acts.day import a_field_report
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
Json = dict[str, Any]
SPANS = "Span,Cable size,Length (ft),From,To\nX1,.500,300,A1,B1\nX2,.500,200,B1,C1\n"
PLAN = "date,crew,step,job,span,run\n2026-03-05,north,clean run,J-north,,R1\n"
STOCK = "material,place,quantity,unit,unit cost\nprojectile-12,main-yard,31,,\n"


@pytest.fixture(autouse=True)
def hints(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """No broker to hint to; what would have been sent."""
    found: list[str] = []
    monkeypatch.setattr(asking, "_hint", lambda: found.append("hint"))
    return found


def send(client: APIClient, kind: str, file: str | bytes, id: str = "", **options: str) -> Any:
    told = "&".join(f"{name}={text}" for name, text in {"kind": kind, "name": "list", **options}.items())
    address = f"/api/v1/imports/{id or uuid4()}?{told}"
    data = file.encode() if isinstance(file, str) else file
    return client.put(address, data, content_type="application/octet-stream")


def take(client: APIClient, kind: str, file: str | bytes, **options: str) -> Json:
    """Send a file, let a worker take it, and ask what became of it."""
    sent = send(client, kind, file, **options)
    assert sent.status_code == 202, sent.json()
    work_imports()
    answer = client.get(sent["Location"])
    assert_answer("get_import", answer)
    found: Json = answer.json()
    return found


def rows_of(client: APIClient, found: Json, query: str = "") -> list[Json]:
    answer = client.get(f"/api/v1/imports/{found['id']}/rows{query}")
    assert_answer("list_import_rows", answer)
    rows: list[Json] = answer.json()["results"]
    return rows


def test_file_is_taken_by_a_worker_and_not_before(
    client_of: ClientOf, office: Office, django_capture_on_commit_callbacks: Any, hints: list[str]
) -> None:
    client = client_of("planner")
    with django_capture_on_commit_callbacks(execute=True):
        sent = send(client, "spans", SPANS, job="J-north")
    assert (sent.status_code, hints) == (202, ["hint"])
    assert_answer("send_import", sent)
    assert sent.json() | {"state": "waiting", "rows": None, "rows_done": 0} == sent.json()
    assert not Span.objects.filter(name="X1").exists()
    assert work_imports() == 1
    found = client.get(sent["Location"]).json()
    assert (found["state"], found["rows_done"], found["rows"]) == ("done", 2, 2)
    assert [row["span"] for row in found["answer"]["added"]] == ["X1", "X2"]
    assert Span.objects.filter(job=office.job, name__in=["X1", "X2"]).count() == 2
    assert not BulkImport.objects.get().content


def test_crew_days_and_stock_are_taken(client_of: ClientOf, office: Office) -> None:
    plan = take(client_of("planner"), "crew-days", PLAN)
    assert (plan["state"], plan["answer"]["steps"]) == ("done", 1)
    assert CrewDayStep.objects.filter(crew_day__date="2026-03-05", run=office.run).exists()
    stock = take(client_of("stores"), "stock", STOCK, at="2026-03-03T12:00:00Z")
    assert (stock["state"], stock["rows"]) == ("done", 1)
    assert stock["answer"]["differences"][0]["counted"]["value"] == "31.000000"
    holding = Holding.objects.get(material__code="projectile-12", place__code="main-yard", container=None)
    assert holding.quantity == 31_000_000


def test_faulty_file_stores_nothing_and_names_every_line(client_of: ClientOf) -> None:
    client, before = client_of("planner"), Span.objects.count()
    found = take(client, "spans", SPANS + "X3,.999,200,C1,D1\nX4,.500,-3,D1,E1\n", job="J-north")
    assert (found["state"], found["refusal"]["code"], found["answer"]) == ("refused", "faulty_sheet", None)
    assert Span.objects.count() == before
    assert found["refused_rows"] == 2
    first, second = rows_of(client, found)
    assert (first["line"], first["faults"][0]["value"]) == (4, ".999")
    assert (second["line"], second["faults"][0]["value"]) == (5, "-3")
    for row in (first, second):
        assert row["state"] == "refused"
        assert row["faults"][0]["field"]
        assert row["faults"][0]["remedy"]


def test_reports_are_taken_one_by_one(client_of: ClientOf, office: Office) -> None:
    good, foreign, bad = a_field_report(office), a_field_report(office, "south"), a_field_report(office)
    bad["readings"][0]["unit"] = "[psi]"
    lines = "\n".join(json.dumps(body) for body in (good, foreign, bad))
    client = client_of("crew")
    found = take(client, "field-reports", lines)
    assert (found["state"], found["rows_done"], found["rows"]) == ("done", 3, 3)
    assert found["answer"] == {"taken": 1, "refused": 2}
    assert [report.uuid for report in FieldReport.objects.all()] == [UUID(good["id"])]
    done, unseen, faulty = rows_of(client, found)
    assert (done["line"], done["state"], done["refusal"]) == (1, "done", None)
    assert unseen["refusal"]["code"] == "not_found"
    assert faulty["faults"][0]["field"] == "/readings/0/value"
    assert faulty["faults"][0]["value"] == "35 [psi]"
    assert [row["line"] for row in rows_of(client, found, "?state=refused")] == [2, 3]


def test_reports_may_come_as_a_list(client_of: ClientOf, office: Office) -> None:
    found = take(client_of("crew"), "field-reports", json.dumps([a_field_report(office)]))
    assert found["answer"] == {"taken": 1, "refused": 0}


def test_sending_again_is_harmless_and_other_content_is_refused(client_of: ClientOf) -> None:
    client, id = client_of("planner"), str(uuid4())
    first = send(client, "spans", SPANS, id, job="J-north")
    work_imports()
    again = send(client, "spans", SPANS, id, job="J-north")
    assert (first.status_code, again.status_code, again.json()["state"]) == (202, 202, "done")
    assert work_imports() == 0
    for other in (send(client, "spans", SPANS + " ", id, job="J-north"), send(client, "crew-days", PLAN, id)):
        assert_refusal(other, 409, "document_conflict")
    assert_refusal(send(client_of("admin"), "spans", SPANS, id, job="J-north"), 409, "document_conflict")


def test_worker_lost_before_the_end_leaves_the_rest_to_the_next(
    client_of: ClientOf, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed after two of three reports were posted, one of them without a word of it in its row."""
    bodies = [
        a_field_report(office, readings=[a_field_report(office)["readings"][0] | {"value": value}])
        for value in (35, 34, 33)
    ]
    client = client_of("crew")
    sent = send(client, "field-reports", json.dumps(bodies))
    run, calls = working.POST_REPORT.run, []

    def die_at_the_third(body: Any, names: Json, asker: Any) -> Json:
        calls.append(body["id"])
        if len(calls) == 3:
            raise KeyboardInterrupt
        return run(body, names, asker)

    monkeypatch.setattr(working, "POST_REPORT", type("Dying", (), {"run": staticmethod(die_at_the_third)}))
    with pytest.raises(KeyboardInterrupt):
        work_imports()
    monkeypatch.undo()
    ImportedRow.objects.filter(line=2).update(state="waiting", body=bodies[1])
    entries = Entry.objects.count()
    found = client.get(sent["Location"]).json()
    assert (found["state"], FieldReport.objects.count()) == ("running", 2)
    assert work_imports() == 0
    BulkImport.objects.update(taken_until=timezone.now() - timedelta(seconds=1))
    assert work_imports() == 1
    found = client.get(sent["Location"]).json()
    assert (found["state"], found["answer"]) == ("done", {"taken": 3, "refused": 0})
    # Which of them still changes the book depends on their ids, since all are of one moment.
    told = sorted(str(uuid) for uuid in FieldReport.objects.values_list("uuid", flat=True))
    assert told == sorted(body["id"] for body in bodies)
    assert Entry.objects.filter(reverses=None).count() >= entries
    assert FieldReport.objects.filter(uuid=bodies[1]["id"]).count() == 1


def test_worker_lost_after_storing_stores_nothing_twice(
    client_of: ClientOf, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plan went in; then a step was moved by hand, which taking the list again would undo."""
    client = client_of("planner")
    sent = send(client, "crew-days", PLAN)
    finish = working._finish

    def die(*_given: Any, **_named: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(working, "_finish", die)
    with pytest.raises(KeyboardInterrupt):
        work_imports()
    monkeypatch.setattr(working, "_finish", finish)
    CrewDayStep.objects.filter(crew_day__date="2026-03-05").delete()
    BulkImport.objects.update(taken_until=None)
    assert work_imports() == 1
    assert client.get(sent["Location"]).json()["state"] == "done"
    assert not CrewDayStep.objects.filter(crew_day__date="2026-03-05").exists()
    assert DomainEvent.objects.filter(kind="schedule_taken").count() == 1


def test_worker_that_lost_its_import_stops(client_of: ClientOf, office: Office) -> None:
    send(client_of("crew"), "field-reports", json.dumps([a_field_report(office)]))
    taken = working.take_import()
    assert taken is not None
    BulkImport.objects.update(claim=uuid4())
    working.work_import(taken)
    assert BulkImport.objects.get().finished_at is None


def test_fault_of_ours_is_tried_again_and_given_up(
    client_of: ClientOf, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of("planner")
    sent = send(client, "crew-days", PLAN)

    def break_down(*_given: Any) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(working, "_take_whole", break_down)
    for _turn in range(working.MOST_ATTEMPTS):
        with pytest.raises(OSError, match="disk"):
            work_imports()
    assert work_imports() == 0
    assert client.get(sent["Location"]).json()["state"] == "given_up"
    assert BulkImport.objects.get().failure == "OSError: the disk is full"


def test_worker_does_no_more_than_the_sender_may_by_then(client_of: ClientOf, office: Office) -> None:
    client = client_of("planner")
    sent = send(client, "spans", SPANS, job="J-north")
    office.users["planner"].role = "safety"
    office.users["planner"].save()
    work_imports()
    assert client.get(sent["Location"]).json()["refusal"]["code"] == "not_allowed"
    assert not Span.objects.filter(name="X1").exists()


def test_keeper_of_one_warehouse_takes_no_stock_sheet(client_of: ClientOf, office: Office) -> None:
    """A sheet may name any place."""
    office.users["stores"].warehouses.add(office.world.warehouse)
    assert_refusal(send(client_of("stores"), "stock", STOCK), 403, "not_allowed")


@pytest.mark.parametrize(
    ("kind", "options", "field"),
    [
        ("spans", {}, "job"),
        ("spans", {"job": "J-north", "create_job": "yes"}, "create_job"),
        ("crew-days", {"job": "J-north"}, "job"),
        ("nothing", {}, "kind"),
    ],
)
def test_wrong_options_are_named(client_of: ClientOf, kind: str, options: dict[str, str], field: str) -> None:
    response = send(client_of("admin"), kind, "x", **options)
    assert (response.status_code, response.json()["errors"][0]["pointer"]) == (400, field)
    assert not BulkImport.objects.exists()


def test_file_that_cannot_be_told_apart_is_refused_at_once(
    client_of: ClientOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of("crew")
    response = send(client, "field-reports", '{}\n{"a": NaN}\n\nno')
    assert [row["line"] for row in response.json()["errors"]] == [2, 4]
    assert_refusal(send(client, "field-reports", ""), 400, "bad_input", "file")
    assert_refusal(send(client, "field-reports", "[" * 100_000), 400, "malformed")
    monkeypatch.setattr(asking, "MOST_REPORTS", 2)
    assert_refusal(send(client, "field-reports", "1\n2\n3"), 413, "too_large")
    monkeypatch.setattr("api.rest.imports.LARGEST_FILE_BYTES", 10)
    assert_refusal(send(client, "field-reports", "x" * 11), 413, "too_large")
    assert not BulkImport.objects.exists()
