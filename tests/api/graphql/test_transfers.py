"""Goods dropped at a site and picked up again over GraphQL, whole drums and all that is left of one."""

from collections.abc import Callable

from rest_framework.test import APIClient

from inventory.models import Container, Entry, Holding
from tests.api.acts.case import ActCase, Json, gallons, head
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
TRANSFER = ActCase("transferGoods", "entries", lambda _office: {}, (), result="entry")


def _whole(container: str, place: str) -> Json:
    return {**head(), "containers": [{"container": container, "place": place}]}


def _some(amount: Json) -> Json:
    source = {"place": "truck-north", "container": "D-north"}
    return {**head(), "lines": [{"material": "fluid", "amount": amount, "source": source,
                                 "target": {"place": "site-1"}}]}  # fmt: skip


def _at_site() -> int:
    return sum(Holding.objects.filter(place__code="site-1").values_list("quantity", flat=True))


def test_crew_drops_a_drum_at_a_site_and_picks_it_up_again(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    dropped = _whole("D-north", "site-1")
    first = TRANSFER.ask(crew, dropped, {})
    assert first["errors"] == []
    assert Container.objects.get(label="D-north").place.code == "site-1"  # type: ignore[union-attr]
    # Sent again it is the same.
    entries = Entry.objects.count()
    assert TRANSFER.ask(crew, dropped, {}) == first
    assert Entry.objects.count() == entries
    assert TRANSFER.ask(crew, _whole("D-north", "truck-north"), {})["errors"] == []
    assert Container.objects.get(label="D-north").place.code == "truck-north"  # type: ignore[union-attr]


def test_the_rest_is_all_that_is_left(client_of: ClientOf, office: Office) -> None:
    inside = sum(Holding.objects.filter(container__label="D-north").values_list("quantity", flat=True))
    assert TRANSFER.ask(client_of("stores"), _some(gallons("5")), {})["errors"] == []
    assert _at_site() == 5_000_000
    assert TRANSFER.ask(client_of("stores"), _some({"rest": True}), {})["errors"] == []
    assert _at_site() == inside
    assert not Holding.objects.filter(container__label="D-north", quantity__gt=0).exists()


def test_an_amount_without_a_unit_is_named_and_nothing_moves(client_of: ClientOf, office: Office) -> None:
    entries = Entry.objects.count()
    payload = TRANSFER.ask(client_of("stores"), _some({"value": "5"}), {})
    assert payload["result"] is None
    assert [row["pointer"] for row in payload["errors"]] == ["/lines/0/amount/unit"]
    assert Entry.objects.count() == entries


def test_who_may_post_nothing_may_transfer_nothing(client_of: ClientOf, office: Office) -> None:
    for role in ("planner", "accounts", "safety"):
        payload = TRANSFER.ask(client_of(role), _whole("D-north", "site-1"), {})
        assert [row["code"] for row in payload["errors"]] == ["not_allowed"]
