"""Documents over REST: hung on things, seen with them, sent again without harm."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from jobs.models import AttachedDocument, StoredFile
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest.furnished import A_PAPER, a_field_report, an_incident
from tests.factories.accounts import Office
from tests.factories.pictures import a_photo

ClientOf = Callable[[str], APIClient]


@pytest.fixture(autouse=True)
def _own_directory(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIRECTORY = tmp_path


@pytest.fixture
def report(client_of: ClientOf) -> str:
    return str(client_of("crew").post("/api/v1/field-reports", a_field_report(), format="json").json()["id"])


def _send(
    client: APIClient, data: bytes, *, id: str = "", media_type: str = "image/jpeg", **given: str
) -> Any:
    query = urlencode({"of": "material", "on": "fluid", "name": "data sheet", **given})
    return client.put(f"/api/v1/documents/{id or uuid4()}?{query}", data, content_type=media_type)


def test_photo_hangs_on_a_report_and_is_got_by_who_sees_it(client_of: ClientOf, report: str) -> None:
    crew, id, photo = client_of("crew"), str(uuid4()), a_photo()
    sent = _send(crew, photo, id=id, of="field-report", on=report, name="gauge.jpg")
    told = assert_answer("attach_document", sent)
    assert (told["of"], told["on"], told["name"]) == ("field-report", report, "gauge.jpg")
    assert (told["media_type"], told["width"], told["height"]) == ("image/jpeg", 400, 300)
    assert told["sent_sha256"] == hashlib.sha256(photo).hexdigest()
    assert assert_answer("get_document", crew.get(f"/api/v1/documents/{id}")) == told
    content = client_of("safety").get(f"/api/v1/documents/{id}/content")
    assert hashlib.sha256(content.content).hexdigest() == told["sha256"]
    assert content["Content-Type"] == "image/jpeg"
    assert content["Content-Disposition"] == f'attachment; filename="{id}.jpg"'
    assert content["X-Content-Type-Options"] == "nosniff"
    assert content["Content-Security-Policy"] == "sandbox; default-src 'none'"
    listed = crew.get(f"/api/v1/documents?of=field-report&on={report}")
    assert assert_answer("list_documents", listed)["results"] == [told]
    assert crew.get("/api/v1/documents?of=incident").json()["results"] == []


def test_document_sent_again_is_the_same_and_other_content_a_conflict(client_of: ClientOf) -> None:
    safety, id = client_of("safety"), str(uuid4())
    first = _send(safety, A_PAPER, id=id)
    assert _send(safety, A_PAPER, id=id).json() == first.json()
    assert AttachedDocument.objects.count() == 1
    assert_refusal(_send(safety, A_PAPER + b"\n", id=id), 409, "document_conflict")
    assert_refusal(_send(safety, A_PAPER, id=id, name="other"), 409, "document_conflict")
    assert_refusal(_send(client_of("admin"), A_PAPER, id=id), 409, "document_conflict")
    assert StoredFile.objects.count() == 1


def test_type_is_what_the_content_is_and_not_what_is_said(client_of: ClientOf) -> None:
    safety = client_of("safety")
    told = _send(safety, A_PAPER, media_type="image/png", name="photo.png").json()
    assert told["media_type"] == "application/pdf"
    for data in (b"<script>alert(1)</script>", b"MZ\x90\x00", b""):
        refused = _send(safety, data, media_type="application/pdf", name="sheet.pdf")
        assert_refusal(refused, 422, "unusable_file")
    assert StoredFile.objects.count() == 1


def test_owasp_api4_unrestricted_resource_consumption_large_file_is_refused(client_of: ClientOf) -> None:
    assert_refusal(_send(client_of("safety"), b"%PDF-" + b"x" * 20_000_000), 413, "too_large")
    assert not StoredFile.objects.exists()


@pytest.mark.parametrize(
    ("given", "pointers"),
    [
        ({"of": "job"}, ["of"]),
        ({"on": ""}, ["on"]),
        ({"name": " "}, ["name"]),
        ({"colour": "red"}, ["colour"]),
        ({"id": "7"}, ["id"]),
        ({"name": "x" * 201}, ["name"]),
    ],
)
def test_wrong_address_is_named_and_nothing_stored(
    client_of: ClientOf, given: dict[str, str], pointers: list[str]
) -> None:
    assert_refusal(_send(client_of("safety"), A_PAPER, **given), 400, "bad_input", *pointers)
    assert not StoredFile.objects.exists()


@pytest.mark.parametrize(("word", "name"), [("incident", "7"), ("material", "unheard-of"), ("receipt", "x")])
def test_document_on_nothing_is_not_found(client_of: ClientOf, word: str, name: str) -> None:
    assert_refusal(_send(client_of("admin"), A_PAPER, of=word, on=name), 404, "not_found")


def test_owasp_api1_broken_object_level_authorization_crew_sees_documents_of_its_own_days_only(
    client_of: ClientOf, office: Office, report: str
) -> None:
    admin, crew, ids = client_of("admin"), client_of("crew"), []
    foreign = admin.post("/api/v1/incidents", an_incident("south"), format="json").json()["id"]
    for word, name in (("field-report", report), ("incident", foreign), ("material", "fluid")):
        ids.append(_send(admin, a_photo(seed=len(ids)), of=word, on=name).json()["id"])
    found = [row["id"] for row in crew.get("/api/v1/documents").json()["results"]]
    assert found == [ids[0], ids[2]]
    for part in ("", "/content"):
        assert_refusal(crew.get(f"/api/v1/documents/{ids[1]}{part}"), 404, "not_found")
    refused = _send(crew, A_PAPER, of="incident", on=foreign)
    assert_refusal(refused, 404, "not_found")


def test_graphql_lists_the_same_in_as_many_queries_for_ten_as_for_one(
    client_of: ClientOf, report: str
) -> None:
    crew, counts = client_of("crew"), []
    question = "{ documents(first: 20) { results { id of on name mediaType size by { code } } } }"
    for more in (1, 9):
        for number in range(more):
            _send(crew, a_photo(seed=more + number), of="field-report", on=report)
        with CaptureQueriesContext(connection) as captured:
            found = ask(crew, question)["documents"]["results"]
        counts.append(len(captured))
    assert counts[0] == counts[1]
    over_rest = crew.get("/api/v1/documents").json()["results"]
    assert [row["id"] for row in found] == [row["id"] for row in over_rest]
    assert len(found) == 10
