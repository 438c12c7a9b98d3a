"""What no kit can be made of, sent through every door: the refusal names it, and nothing is stored."""

import io
import json
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from inventory.models import Container, DomainEvent, Entry, Requirement, Reservation
from jobs.models import CableSize, CrewDay, Job, Span
from jobs.services.needs import write_needs
from tests.api.graphql.asking import refuse
from tests.api.published import assert_refusal
from tests.factories.accounts import Office, make_office, make_user
from tests.factories.jobs import DAY
from tests.factories.kits import make_small_day

pytestmark = pytest.mark.django_db
FEET = {"value": "412", "unit": "[ft_i]"}
BORE = {"value": "0.452", "unit": "[in_i]"}
NOTHING = {"value": "0", "unit": "[ft_i]"}
NO_BORE = {"value": "0", "unit": "[in_i]"}
SPAN = {"bore": BORE, "length": FEET}
DAY_OF_ONE = {"spans": [SPAN], "quantile": 0.9, "volume_unit": "[gal_us]"}
FITTINGS = {"spans": {".500": 2}, "sets_in_use": 1, "loss_probability": 0.02}
LEVEL = {"demand": {"distribution": "poisson", "mean": 3}}
STREAM = {"name": "meter", "measured": 3, "standard_uncertainty": 1}
RATIO = {"mean": 1.2, "sd": -0.1}
REELS = [
    {"id": "F-1", "length": 600},
    {"id": "F-2", "length": 700},
    {"id": "F-3", "length": 900, "available": 0},
]

# Calculation, what is asked of it, and the pointer of the fault.
CALCULATIONS: list[tuple[str, dict[str, Any], str]] = [
    ("bore-volume", {"bore": BORE, "volume_unit": "[gal_us]"}, "/length"),
    ("bore-volume", {"bore": NO_BORE, "length": FEET, "volume_unit": "[gal_us]"}, "/bore/value"),
    ("bore-volume", {"length": FEET, "volume_unit": "[gal_us]"}, "/bore"),
    ("crew-day-fluid", {**DAY_OF_ONE, "spans": [{"bore": BORE}]}, "/spans/0/length"),
    ("crew-day-fluid", {**DAY_OF_ONE, "spans": [{**SPAN, "length": NOTHING}]}, "/spans/0/length/value"),
    ("crew-day-fluid", {**DAY_OF_ONE, "spans": [SPAN, {"length": FEET}]}, "/spans/1/bore"),
    ("crew-day-fluid", {**DAY_OF_ONE, "spans": [{**SPAN, "bore": NO_BORE}]}, "/spans/0/bore/value"),
    ("crew-day-fluid", {**DAY_OF_ONE, "quantile": 0}, "/quantile"),
    ("crew-day-fluid", {**DAY_OF_ONE, "quantile": 1}, "/quantile"),
    (
        "crew-day-fluid",
        {**DAY_OF_ONE, "spans": [{**SPAN, "injected_ratio": RATIO}]},
        "/spans/0/injected_ratio/sd",
    ),
    ("fittings-needed", {**FITTINGS, "quantile": 0}, "/quantile"),
    ("fittings-needed", {**FITTINGS, "quantile": 1}, "/quantile"),
    ("load-level", {**LEVEL, "quantile": 0}, "/quantile"),
    ("load-level", {**LEVEL, "quantile": 1}, "/quantile"),
    ("reel-allotment", {"reels": REELS, "cuts": [{"id": "R1", "length": 700.5}]}, "/cuts/0/length"),
    (
        "reel-allotment",
        {"reels": REELS, "cuts": [{"id": "R1", "length": 10}, {"id": "R2", "length": 701, "count": 2}]},
        "/cuts/1/length",
    ),
    ("film-residual", {"bore": 0, "film_thickness": 0.1}, "/bore"),
    (
        "fluid-balance",
        {"streams": [{**STREAM, "standard_uncertainty": -1}], "balances": [{"meter": 1}]},
        "/streams/0/standard_uncertainty",
    ),
    ("pooled-estimate", {"estimates": [1, 2], "variances": [1, -1], "method": "reml"}, "/variances/1"),
]


def _count() -> list[int]:
    kinds = (Entry, DomainEvent, Job, Span, CrewDay, Requirement, Reservation, CableSize)
    return [kind.objects.count() for kind in kinds]


@pytest.fixture
def planner() -> APIClient:
    office: Office = make_office()
    client = APIClient()
    client.force_login(office.users["planner"])
    return client


def _refuse_command(name: str, request: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The pointers that the command names on its standard error."""
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(json.dumps(request).encode())))
    told = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("calculate", name, format="json", stdout=StringIO(), stderr=told)
    assert ended.value.code == 1
    return [fault["pointer"] for fault in json.loads(told.getvalue())["errors"]]


def test_calculations_name_what_no_kit_can_be_made_of(
    planner: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _count()
    question = "query Q($n: String!, $r: JSONString!) { calculation(name: $n, request: $r) }"
    for name, request, pointer in CALCULATIONS:
        answer = planner.post(f"/api/v1/calculations/{name}", request, format="json")
        assert answer.status_code == 400, (name, pointer)
        assert_refusal(answer, 400, "bad_input", pointer)
        (error,) = refuse(planner, question, "bad_input", status=200, n=name, r=json.dumps(request))
        assert [fault["pointer"] for fault in error["extensions"]["errors"]] == [pointer]
        assert _refuse_command(name, request, monkeypatch) == [pointer]
    assert _count() == before


def _import(kind: str, text: str, tmp_path: Path, *arguments: str) -> str:
    """What an import says that is refused."""
    file = tmp_path / "list.csv"
    file.write_text(text, encoding="utf-8")
    told = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command(*kind.split(), str(file), *arguments, stdout=io.StringIO(), stderr=told)
    assert ended.value.code == 1
    return told.getvalue()


def test_span_list_names_a_span_without_length_and_a_size_that_nobody_knows(
    planner: APIClient, tmp_path: Path
) -> None:
    before = _count()
    head = "span,run,cable size,length,near,far\n"
    options = ("--job", "J-9", "--create-job")
    for row, named in (
        ("S1,R1,.500,,A,B", "length"),
        ("S1,R1,.500,0 ft,A,B", "length"),
        ("S1,R1,.500,-4 ft,A,B", "length"),
        ("S1,R1,.999,400 ft,A,B", "cable size"),
    ):
        said = _import("import_spans", head + row, tmp_path, *options)
        assert named in said
        assert "line 2" in said
    assert _count() == before


def test_unknown_crew_is_named_at_every_door(planner: APIClient, tmp_path: Path) -> None:
    before = _count()
    day = DAY.isoformat()
    for path in ("", "/file.pdf", "/cuts", "/scans/D-1"):
        assert_refusal(planner.get(f"/api/v1/pull-sheets/west/{day}{path}"), 404, "not_found")
    agreed = planner.post(f"/api/v1/pull-sheets/west/{day}/state", {"state": "agreed"}, format="json")
    assert_refusal(agreed, 404, "not_found")
    question = f'{{ pullSheet(crew: "west", date: "{day}") {{ date }} }}'
    refuse(planner, question, "not_found", status=200)
    told = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("pull_sheet", crew="west", date=DAY, stdout=io.StringIO(), stderr=told)
    assert "no crew 'west'" in told.getvalue()
    list_of_days = f"crew,date,step,job,span\nwest,{day},extract,J-north,S1\n"
    assert "west" in _import("schedule import", list_of_days, tmp_path)
    assert _count() == before


def test_cable_size_without_a_bore_is_named_at_both_doors(planner: APIClient) -> None:
    standing = planner.get("/api/v1/cable-sizes/.500")
    sent = {
        name: standing.json()[name]
        for name in ("outside_diameter", "wall", "nominal_bore", "measured_bore", "confidence")
    }
    before = list(CableSize.objects.values())
    for name, value, pointer in (
        ("nominal_bore", {"value": "0", "unit": "mm"}, "/nominal_bore"),
        ("measured_bore", {"value": "0", "unit": "mm"}, "/measured_bore"),
        ("nominal_bore", None, "/nominal_bore"),
    ):
        answer = planner.put(
            "/api/v1/cable-sizes/.500",
            {**sent, name: value},
            format="json",
            HTTP_IF_MATCH=standing["ETag"],
        )
        assert_refusal(answer, 400, "bad_input", pointer)
    assert list(CableSize.objects.values()) == before


def _login() -> APIClient:
    client = APIClient()
    client.force_login(make_user("planner", "planner"))
    return client


def test_run_longer_than_any_reel_is_refused_by_name_and_no_fibre_is_promised() -> None:
    """The run takes 1132.2 ft in one piece; two reels of 600 and 700 ft do not make one of 1300."""
    small = make_small_day()
    small.reel("F-1", 600)
    small.reel("F-2", 700)
    write_needs([small.crew_day])
    before, client = _count(), _login()
    address = f"/api/v1/pull-sheets/north/{DAY.isoformat()}"
    refused = client.post(f"{address}/state", {"state": "agreed"}, format="json")
    told = assert_refusal(refused, 409, "run_longer_than_any_reel")["detail"]
    assert "Run R1 takes 1132.2 ft" in told
    assert "the longest reel, F-2 in Main yard, has 700 ft" in told
    asked = """mutation { changeKitState(input: {state: "agreed"}, crew: "north", date: "2026-03-02") {
        result { state } errors { code } } }"""
    found = client.post("/graphql", {"query": asked}, format="json").json()["data"]["changeKitState"]
    assert found == {"result": None, "errors": [{"code": "run_longer_than_any_reel"}]}
    assert _count() == before
    assert CrewDay.objects.get().state == "planned"
    assert not Reservation.objects.exists()
    # What was planned stands, so that whoever opens the sheet sees what it is short of.
    sheet = client.get(address).json()
    (line,) = [line for line in sheet["lines"] if line["section"] == "fibre"]
    assert line["short"] == line["needed"] == {"value": "1132.200000", "unit": "[ft_i]"}
    assert line["picks"] == []
    assert "The longest reel of Network Owner has only 700 ft" in line["why"]
    small.reel("F-3", 1133)
    assert client.post(f"{address}/state", {"state": "agreed"}, format="json").status_code == 200


def test_run_is_agreed_while_its_reel_is_awaited_or_serves_another_crew() -> None:
    small = make_small_day()
    address = f"/api/v1/pull-sheets/north/{DAY.isoformat()}/state"
    client = _login()
    for state in ("agreed", "planned"):
        assert client.post(address, {"state": state}, format="json").status_code == 200
    small.reel("F-1", 1200)
    Reservation.objects.create(
        container=Container.objects.get(label="F-1"),
        holder="crew:south",
        reference="another's",
        material=small.world.fibre,
        owner=small.world.customer,
        place=small.world.warehouse,
        quantity=1_200_000_000,
    )
    assert client.post(address, {"state": "agreed"}, format="json").status_code == 200
