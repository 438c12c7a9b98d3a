"""Every page: only for who is signed in, under one policy, and never a bare fault."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils.html import escape

from api.models import User
from api.pages.navigation import AREAS
from api.pages.security import HEADER, POLICY
from tests.factories.accounts import PASSWORD, Office

Browse = Callable[[str], Client]


@pytest.mark.parametrize("address", ["/", "/restock", "/where", "/containers/D-1", "/settings"])
def test_page_asks_a_stranger_to_sign_in_and_leads_back(office: Office, address: str) -> None:
    client = Client()
    answer = client.get(address)
    assert answer.status_code == 302
    assert answer["Location"] == f"/sign-in?next={address}"
    signed = client.post(answer["Location"], {"username": "stores", "password": PASSWORD, "next": address})
    assert (signed.status_code, signed["Location"]) == (302, address)
    wrong = Client().post("/sign-in", {"username": "stores", "password": "no"})
    assert "correct" in wrong.content.decode()


@pytest.mark.parametrize("role", User.Role.values)
def test_first_page_of_every_role_opens_and_names_its_areas(browse: Browse, role: str) -> None:
    answer = browse(role).get("/", follow=True)
    assert answer.status_code == 200
    text = answer.content.decode()
    for word in {area.word for area in AREAS}:
        is_open = any(role in area.roles for area in AREAS if area.word == word)
        assert text.count(f">{escape(word)}</a>") == is_open
    assert text.count('aria-current="page"') == 1


def test_page_sends_the_policy_and_is_not_stored(browse: Browse) -> None:
    answer = browse("stores").get("/where")
    assert answer[HEADER] == POLICY
    assert "unsafe" not in answer[HEADER]
    assert answer["Cache-Control"] == "no-store"
    assert "<style" not in answer.content.decode()
    assert "style=" not in answer.content.decode()


def test_sign_out_wants_a_button(browse: Browse) -> None:
    client = browse("stores")
    assert client.get("/sign-out").status_code == 405
    assert client.post("/sign-out")["Location"] == "/sign-in"
    assert client.get("/where").status_code == 302


@pytest.mark.parametrize(
    ("role", "address", "status", "words"),
    [
        ("stores", "/containers/NONE", 404, "There is no container of that label."),
        ("crew", "/containers/D-south", 404, "There is no container of that label."),
        ("crew", "/restock", 403, "your role sees its own places only"),
        ("stores", "/restock/main-yard/none", 404, "There is no material of that code."),
    ],
)
def test_refusal_is_a_page_that_says_why(
    browse: Browse, role: str, address: str, status: int, words: str
) -> None:
    answer = browse(role).get(address)
    assert answer.status_code == status
    assert words in answer.content.decode()


def test_person_reads_in_own_units(browse: Browse) -> None:
    client = browse("stores")
    assert "55 gal" in client.get("/containers/D-1").content.decode()
    assert client.post("/settings", {"units": "metric"})["Location"] == "/settings?kept=1"
    # 55 gal of 3.785411784 L, the gallon's definition.
    assert "208.2 L" in client.get("/containers/D-1").content.decode()
    client.post("/settings", {"units": "cubits"})
    assert "208.2 L" in client.get("/containers/D-1").content.decode()
