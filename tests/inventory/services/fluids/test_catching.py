"""Caught and swept, told apart beside a book that cannot be widened."""

from uuid import uuid4

import pytest

from inventory.models import Container, FluidCatch
from inventory.queries.fluid_history import get_history
from inventory.queries.verification import verify_ledger
from inventory.services.conversions import Caught, NotRecoverable
from inventory.services.fluids.catching import Returned, take_back
from inventory.services.posting import End
from tests.factories.fluids import CAUGHT, SWEPT, catch, inject, make_vessel, pour
from tests.factories.inventory import World, at, gal, held

pytestmark = pytest.mark.django_db


def test_take_back_tells_swept_from_caught(world: World, caught: Container) -> None:
    sweep = make_vessel(world, "S1")
    catch(world, sweep, 25, hours=3, kind=SWEPT)
    assert (get_history(caught).kind, get_history(sweep).kind) == ("caught", "swept")
    assert (get_history(caught).uses, get_history(sweep).uses) == (1, 1)


def test_take_back_into_one_vessel_makes_a_mixture_swept(world: World, caught: Container) -> None:
    catch(world, caught, 5, hours=3, kind=SWEPT)
    history = get_history(caught)
    assert history.kinds == {"caught", "swept"}
    assert history.kind == "swept"


def test_take_back_is_known_through_pours(world: World, caught: Container) -> None:
    sweep, tote = make_vessel(world, "S1"), make_vessel(world, "T1")
    catch(world, sweep, 25, hours=3, kind=SWEPT)
    pour(world, sweep, tote, 10, hours=4)
    assert get_history(tote).kind == "swept"


def test_take_back_sent_again_changes_nothing(world: World, caught: Container) -> None:
    id, before = uuid4(), held(world.warehouse, world.recovered, caught)
    entries = {catch(world, caught, 5, hours=3, id=id).pk for _time in range(2)}
    assert len(entries) == 1
    assert held(world.warehouse, world.recovered, caught) == before + 5_000_000
    assert FluidCatch.objects.filter(entry__uuid=id).count() == 1


def test_take_back_of_one_entry_into_one_vessel_is_swept_where_any_line_is(world: World) -> None:
    inject(world, world.drum("D1", 55), 50, hours=1)
    vessel = make_vessel(world, "C1")
    end = End(world.warehouse, vessel)
    lines = [
        Returned(Caught(world.recovered, gal(5), world.span, end), kind) for kind in (CAUGHT, SWEPT, CAUGHT)
    ]
    take_back(id=uuid4(), by=world.actor, occurred_at=at(2), returned=lines)
    assert FluidCatch.objects.get().kind == "swept"


def test_catch_spoils_what_was_fit(world: World, caught: Container) -> None:
    Container.objects.filter(pk=caught.pk).update(contents_state="fit")
    catch(world, caught, 1, hours=3)
    caught.refresh_from_db()
    assert caught.contents_state == "caught"


def test_pour_onto_other_fluid_leaves_the_worse_state(world: World, caught: Container) -> None:
    other = make_vessel(world, "C2")
    catch(world, other, 10, hours=3)
    Container.objects.filter(pk=other.pk).update(contents_state="fit")
    pour(world, caught, other, 5, hours=4)
    other.refresh_from_db()
    assert other.contents_state == "caught"


def test_fluid_that_was_recovered_before_comes_back_as_itself(world: World, caught: Container) -> None:
    inject(world, caught, 15, hours=3, material=world.recovered)
    again = make_vessel(world, "C2")
    catch(world, again, 12, hours=4, injected=world.recovered)
    assert get_history(again).uses == 2
    assert held(world.span, world.recovered) == 3_000_000
    # What is left of the fresh fluid there is what was injected less what came back of it.
    assert held(world.span, world.fluid) == 30_000_000
    assert list(verify_ledger()) == []


def test_recover_refuses_fluid_of_another_kind(world: World, caught: Container) -> None:
    end = End(world.warehouse, caught)
    line = Caught(world.recovered, gal(1), world.span, end, world.projectile)
    with pytest.raises(NotRecoverable, match="does not come of"):
        take_back(id=uuid4(), by=world.actor, occurred_at=at(3), returned=[Returned(line, CAUGHT)])
