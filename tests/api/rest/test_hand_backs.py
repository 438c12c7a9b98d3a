"""Goods of others going back to their owner, through the doors."""

import csv
import io
from collections.abc import Callable
from uuid import uuid4

from django.test import Client
from pypdf import PdfReader
from rest_framework.test import APIClient

from inventory.models import Container, Entry, Party, Place
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.parties import make_outside_places, save_party
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.api.published import assert_answer
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.inventory import at, feet

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/jobs/J-north"


def test_furnished_goods_that_were_handed_back_are_so_on_every_form(
    client_of: ClientOf, office: Office
) -> None:
    """Two reels of 1000 ft: one goes back whole, 100 ft of the other; 300 ft are left out here."""
    world, job = office.world, office.job
    make_outside_places(world.customer)
    source = Place.objects.get(code="customer:network")
    reels = [
        Container(label=label, kind="reel", material=world.fibre, owner=world.customer, place=world.warehouse)
        for label in ("F-1", "F-2")
    ]
    arrived = [ReceiptLine(world.fibre, feet(1000), End(world.warehouse, reel), 0) for reel in reels]
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=source, lines=arrived)
    use = Line(world.fibre, feet(300), End(world.warehouse, reels[0]), End(job.place))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[use])
    stores = client_of("stores")
    some = {"material": world.fibre.code, "amount": {"value": "100", "unit": "[ft_i]"}, "container": "F-1"}
    body = {"id": str(uuid4()), "kind": "hand_back", "occurred_at": requests.AT, "document": "T-7"}
    body |= {"containers": [{"container": "F-2"}], "parts": [some]}
    entry = assert_answer("make_entry", stores.post("/api/v1/entries", body, format="json"))
    assert (entry["kind"], stores.post("/api/v1/entries", body, format="json").json()) == ("return", entry)
    assert Container.objects.get(label="F-2").state == Container.State.GONE
    accounts = client_of("accounts")
    [line] = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))["furnished"]
    found = {word: amount for word, amount in line["reconciliation"].items() if word != "ties"}
    assert {word: float(amount["value"]) for word, amount in found.items()} == {
        "delivered": 2000,
        "with_job": 300,
        "with_other_jobs": 0,
        "returned_to_owner": 1100,
        "still_held": 600,
        "otherwise": 0,
    }
    assert line["reconciliation"]["ties"] is True
    printed = accounts.get(f"{ADDRESS}/cost-sheet/file.pdf")
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    assert "1100 ft" in " ".join(pages.split())
    page = Client()
    page.force_login(office.users["accounts"])
    assert "1100 ft" in page.get("/jobs/J-north/cost").content.decode()
    text = accounts.get(f"{ADDRESS}/cost-sheet/file.csv").content.decode("utf-8-sig")
    [row] = [row for row in csv.DictReader(io.StringIO(text)) if row["delivered"]]
    assert row["returned to owner"] == "1100.000000"
    undoing = {"id": str(uuid4()), "kind": "reversal", "reverses": body["id"], "reason": "another day"}
    assert_answer("make_entry", stores.post("/api/v1/entries", undoing, format="json"))
    [line] = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))["furnished"]
    assert float(line["reconciliation"]["returned_to_owner"]["value"]) == 0
    assert line["reconciliation"]["ties"] is True


def test_a_hand_back_that_cannot_be_is_refused_and_changes_nothing(
    client_of: ClientOf, office: Office
) -> None:
    stores, world = client_of("stores"), office.world
    save_party(code="lender", name="Lender")
    reel = {"kind": "reel", "material": world.fibre, "place": world.warehouse}
    Container.objects.create(label="F-1", owner=world.customer, **reel)
    Container.objects.create(label="F-2", owner=Party.objects.get(code="lender"), **reel)
    make_outside_places(world.customer)
    before = Entry.objects.count()
    more = {"material": world.fibre.code, "amount": {"value": "1", "unit": "[ft_i]"}, "container": "F-1"}
    for containers, parts, code, said in (
        (["D-1"], [], "not_furnished", "is the company's own"),
        (["F-2"], [], "not_furnished", "neither customer nor supplier"),
        (["F-1", "F-1"], [], "bad_line", "is named twice"),
        (["F-1"], [more], "bad_line", "is named twice"),
        ([], [], "bad_line", "nothing to hand back"),
        ([], [more], "not_enough_held", "F-1"),
    ):
        body = {"id": str(uuid4()), "kind": "hand_back", "occurred_at": requests.AT, "parts": parts}
        body["containers"] = [{"container": label} for label in containers]
        answer = stores.post("/api/v1/entries", body, format="json")
        assert (answer.status_code, answer.json()["code"]) in {(400, code), (409, code)}, answer.content
        assert said in answer.content.decode()
    assert Entry.objects.count() == before
