"""Kits as files, the picture of the cuts, and what a scanned code is."""

import io
from urllib.parse import quote

import pytest
from pypdf import PdfReader
from rest_framework.response import Response
from rest_framework.test import APIClient

from inventory.models import Container, Place
from inventory.short_codes import make_short_code
from tests.api.graphql.asking import ask, refuse
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import make_user
from tests.factories.jobs import make_place
from tests.factories.kits import SmallDay, make_fitting, make_small_day

pytestmark = pytest.mark.django_db
NORTH = "/api/v1/pull-sheets/north/2026-03-02"


def _read(response: Response) -> str:
    assert response.status_code == 200, response.content
    assert response["Content-Type"] == "application/pdf"
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(response.content)).pages)


@pytest.fixture
def small() -> SmallDay:
    """Two spans with their run blown from a reel by its marks; a drum, a vessel and loose fittings."""
    small = make_small_day()
    small.drum("D-1", 55)
    small.vessel("E-1")
    small.reel("F-1", 3000)
    Container.objects.filter(label="F-1").update(
        outer_mark=10_000_000_000, inner_mark=13_000_000_000, mark_unit="[ft_i]"
    )
    small.pieces(make_fitting("pressure_end"), 4)
    return small


@pytest.fixture
def crew(small: SmallDay) -> APIClient:
    """The crew of that day, which does not see into the yard."""
    client = APIClient()
    client.force_login(make_user("hand", "crew", crew=small.crew_day.crew))
    return client


@pytest.fixture
def planner(small: SmallDay) -> APIClient:
    client = APIClient()
    client.force_login(make_user("planner", "planner"))
    return client


def test_pull_sheet_file_is_the_sheet(crew: APIClient) -> None:
    text = _read(crew.get(f"{NORTH}/file.pdf"))
    for part in ("D-1", "F-1", "11132.2 ft", "Blow run R1", "Never feel for a leak"):
        assert part in text


@pytest.mark.parametrize(("asked", "width"), [("", 612), ("?paper=a4", 595), ("?paper=letter", 612)])
def test_pull_sheet_file_is_on_the_companys_paper_or_on_what_is_asked(
    crew: APIClient, asked: str, width: int
) -> None:
    page = PdfReader(io.BytesIO(crew.get(f"{NORTH}/file.pdf{asked}").content)).pages[0]
    assert round(float(page.mediabox.width)) == width


def test_pull_sheet_file_refuses_paper_that_nobody_makes(crew: APIClient) -> None:
    assert_refusal(crew.get(f"{NORTH}/file.pdf?paper=bark"), 400, "bad_input", "paper")


def test_kits_of_day_file_lists_what_to_fetch_by_place(planner: APIClient, crew: APIClient) -> None:
    address = "/api/v1/kits-of-day/main-yard/2026-03-02/file.pdf"
    text = _read(planner.get(address))
    for part in (
        "To fetch, by place",
        "D-1",
        "north",
        make_short_code(Container.objects.get(label="D-1").pk),
    ):
        assert part in text
    assert crew.get(address).status_code == 403


def test_pull_sheet_cuts_come_with_picture_and_table(crew: APIClient) -> None:
    body = assert_answer("get_pull_sheet_cuts", crew.get(f"{NORTH}/cuts"))
    (reel,) = body["reels"]
    (cut,) = reel["cuts"]
    assert (reel["reel"], cut["mark_from"], cut["mark_to"]) == ("F-1", "10000 ft", "11132.2 ft")
    assert reel["left"] == {"value": "1867.800000", "unit": "[ft_i]"}
    assert [row["length"] for row in body["picture"]["table"]["rows"]] == ["1,132.2", "1,867.8"]
    picture = crew.get(f"{NORTH}/cuts/picture.svg")
    assert picture["Content-Type"].startswith("image/svg+xml")
    assert picture.content.decode() == body["picture"]["svg"]


def test_pull_sheet_tells_codes_cuts_and_the_reason_of_each_number(crew: APIClient) -> None:
    body = assert_answer("get_pull_sheet", crew.get(NORTH))
    fluid = next(line for line in body["lines"] if line["section"] == "fluid")
    code = make_short_code(Container.objects.get(label="D-1").pk)
    assert [pick["short_code"] for pick in fluid["picks"]] == [code]
    assert [row["number"] for row in fluid["reasons"]] == ["needed", "to_take"]
    assert fluid["reasons"][0]["quantity"] == fluid["needed"]
    assert "goes along, since containers go whole" in fluid["reasons"][1]["why"]
    assert [reel["reel"] for reel in body["cuts"]] == ["F-1"]
    question = """{ pullSheet(crew: "north", date: "2026-03-02") {
      lines { section picks { shortCode } reasons { number why } }
      cuts { reel cuts { markFrom markTo length { value } } } } }"""
    sheet = ask(crew, question)["pullSheet"]
    assert sheet["cuts"][0]["cuts"][0]["markTo"] == "11132.2 ft"
    lines = {line["section"]: line for line in sheet["lines"]}
    assert lines["fluid"]["picks"][0]["shortCode"] == code
    assert [row["why"] for row in lines["fluid"]["reasons"]] == [row["why"] for row in fluid["reasons"]]


def test_scan_for_pull_sheet_says_what_a_drum_is_for(crew: APIClient, small: SmallDay) -> None:
    """The crew does not see into the yard, but what stands where its kit comes from it may scan."""
    code = make_short_code(Container.objects.get(label="D-1").pk)
    for scanned in (code, code.replace("-", ""), "D-1"):
        body = assert_answer("scan_for_pull_sheet", crew.get(f"{NORTH}/scans/{scanned}"))
        assert (body["container"]["label"], body["is_on_sheet"]) == ("D-1", True)
        assert [line["title"] for line in body["lines"]] == [small.world.fluid.name]
    small.vessel("E-9", state=Container.State.OPEN)
    spare = assert_answer("scan_for_pull_sheet", crew.get(f"{NORTH}/scans/E-9"))
    assert (spare["container"]["label"], spare["is_on_sheet"], spare["lines"]) == ("E-9", False, [])


def test_scan_for_pull_sheet_sees_no_other_yard(crew: APIClient, small: SmallDay) -> None:
    other = make_place(Place.Kind.WAREHOUSE, "other-yard")
    far = small.vessel("FAR-1", place=other)
    for scanned in ("FAR-1", make_short_code(far.pk)):
        assert_refusal(crew.get(f"{NORTH}/scans/{scanned}"), 404, "not_found")


def test_scan_finds_by_code_label_and_address(planner: APIClient) -> None:
    drum = Container.objects.get(label="D-1")
    code = make_short_code(drum.pk)
    for scanned in (code, f" {code} ", "D-1", "https://yard.example/containers/D-1"):
        body = assert_answer(
            "find_scanned_container", planner.get(f"/api/v1/scans/{quote(scanned, safe='')}")
        )
        assert (body["label"], body["short_code"]) == ("D-1", code)
        asked = ask(planner, "query Q($c: String!) { scanned(code: $c) { label shortCode } }", c=scanned)
        assert asked["scanned"] == {"label": "D-1", "shortCode": code}


def test_scan_refuses_a_wrong_digit_by_its_code(planner: APIClient) -> None:
    code = make_short_code(Container.objects.get(label="D-1").pk)
    wrong = code[:-1] + str((int(code[-1]) + 1) % 10)
    assert_refusal(planner.get(f"/api/v1/scans/{wrong}"), 400, "wrong_short_code")
    question = "query Q($c: String!) { scanned(code: $c) { label } }"
    refuse(planner, question, "wrong_short_code", status=200, c=wrong)


def test_scan_hides_what_the_asker_does_not_see(crew: APIClient) -> None:
    code = make_short_code(Container.objects.get(label="D-1").pk)
    hidden = crew.get(f"/api/v1/scans/{code}")
    nothing = crew.get(f"/api/v1/scans/{make_short_code(999_999)}")
    assert_refusal(hidden, 404, "not_found")
    assert hidden.json()["detail"] == nothing.json()["detail"]


def test_scan_takes_a_printed_code_before_a_label_that_reads_the_same(
    planner: APIClient, small: SmallDay
) -> None:
    drum = Container.objects.get(label="D-1")
    small.vessel(make_short_code(drum.pk))
    body = planner.get(f"/api/v1/scans/{make_short_code(drum.pk)}").json()
    assert body["label"] == "D-1"
