"""Deposits lie with a supplier until the empty vessel is back."""

from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, Deposit, Party
from inventory.queries.recovered_fluid import list_deposit_balances, list_empties_to_return
from inventory.services.deposits import NotEmpty, charge_deposits, return_empties, set_deposit_terms
from inventory.services.parties import save_party
from tests.factories.fluids import make_vessel
from tests.factories.inventory import World, at, make_world

pytestmark = pytest.mark.django_db
DOLLAR = 1_000_000


@pytest.fixture
def world() -> World:
    return make_world()


@pytest.fixture
def supplier() -> Party:
    return save_party(code="plain", name="Plain Fluids (invented)", is_supplier=True)


def test_charge_deposits_by_the_suppliers_terms_once(world: World, supplier: Party) -> None:
    drums = [world.drum("D1", 5), world.drum("D2", 5)]
    with pytest.raises(BadInput, match="asks none for a drum"):
        charge_deposits(containers=drums, supplier=supplier, occurred_at=at(0))
    set_deposit_terms(supplier=supplier, container_kind="drum", amount=25 * DOLLAR)
    for _time in range(2):
        charge_deposits(containers=drums, supplier=supplier, occurred_at=at(0), document="slip 7")
    assert list(Deposit.objects.values_list("amount", flat=True)) == [25 * DOLLAR] * 2
    (balance,) = list_deposit_balances()
    assert (balance.vessels, balance.amount, balance.lost) == (2, 50 * DOLLAR, 0)


def test_return_empties_settles_each_deposit(world: World, supplier: Party) -> None:
    drums = [make_vessel(world, "E1"), make_vessel(world, "E2")]
    charge_deposits(containers=drums, supplier=supplier, occurred_at=at(0), amount=25 * DOLLAR)
    assert [row.container.label for row in list_empties_to_return()] == ["E1", "E2"]
    id = uuid4()
    for _time in range(2):
        entry = return_empties(
            id=id,
            by=world.actor,
            occurred_at=at(5),
            containers=[Container.objects.get(pk=box.pk) for box in drums],
            supplier=supplier,
            refunds={"E2": 10 * DOLLAR},
            document="slip 8",
        )
    assert list(Deposit.objects.values_list("refunded", flat=True)) == [25 * DOLLAR, 10 * DOLLAR]
    assert set(Deposit.objects.values_list("return_entry", flat=True)) == {entry.pk}
    (balance,) = list_deposit_balances()
    assert (balance.vessels, balance.amount, balance.lost) == (0, 0, 15 * DOLLAR)
    drums[0].refresh_from_db()
    assert drums[0].place is not None
    assert (drums[0].state, drums[0].place.code) == ("gone", "supplier:plain")
    assert not list_empties_to_return().exists()


def test_return_empties_refuses_what_is_not_empty_or_not_theirs(world: World, supplier: Party) -> None:
    full, empty = world.drum("D1", 5), make_vessel(world, "E1")
    other = save_party(code="other", name="Other Fluids (invented)", is_supplier=True)
    charge_deposits(containers=[empty], supplier=other, occurred_at=at(0), amount=DOLLAR)
    common = {"by": world.actor, "occurred_at": at(5), "supplier": supplier}
    with pytest.raises(NotEmpty, match="still holds 5 gal"):
        return_empties(id=uuid4(), containers=[full], **common)
    with pytest.raises(BadInput, match="has its deposit with Other Fluids"):
        return_empties(id=uuid4(), containers=[empty], **common)
    with pytest.raises(BadInput, match="not among the vessels"):
        return_empties(id=uuid4(), containers=[empty], refunds={"X": 1}, **common)
    with pytest.raises(BadInput, match="between nothing and the deposit"):
        return_empties(
            id=uuid4(), by=world.actor, occurred_at=at(5), containers=[empty], supplier=other,
            refunds={"E1": 2 * DOLLAR},
        )  # fmt: skip
    with pytest.raises(BadInput, match="at least one"):
        return_empties(id=uuid4(), containers=[], **common)
    empty.refresh_from_db()
    assert empty.state == "clean"
    assert Deposit.objects.get().refunded is None


def test_set_deposit_terms_refuses_nothing_and_lots(supplier: Party) -> None:
    with pytest.raises(BadInput, match="more than nothing"):
        set_deposit_terms(supplier=supplier, container_kind="drum", amount=0)
    with pytest.raises(BadInput, match="no kind of vessel"):
        set_deposit_terms(supplier=supplier, container_kind="lot", amount=1)
