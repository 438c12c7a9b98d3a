"""Fluid on its way: injected from a drum, caught or swept into vessels, in the small world of goods."""

from uuid import UUID, uuid4

from inventory.models import Actor, Container, Entry, FluidCatch, Material, Place
from inventory.services.conversions import Caught
from inventory.services.fluids.catching import Returned, take_back
from inventory.services.fluids.limits import Bounds, set_fluid_limit, set_fluid_policy
from inventory.services.goods import decant, draw
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import World, at, gal

CAUGHT, SWEPT = FluidCatch.Kind.CAUGHT, FluidCatch.Kind.SWEPT


def make_vessel(world: World, label: str, *, place: Place | None = None, state: str = "clean") -> Container:
    return Container.objects.create(
        label=label,
        kind="drum",
        owner=world.company,
        place=place or world.warehouse,
        state=state,
        capacity=210_000_000,
    )


def inject(
    world: World, drum: Container, amount: int | str, *, hours: float, material: Material | None = None
) -> Entry:
    """Fluid goes from a drum into the span, as a crew reports it."""
    drum.refresh_from_db()
    assert drum.place is not None
    line = Line(material or world.fluid, gal(amount), End(drum.place, drum), End(world.span))
    return draw(id=uuid4(), by=world.other_actor, occurred_at=at(hours), lines=[line], as_report=True)


def catch(
    world: World,
    vessel: Container,
    amount: int | str,
    *,
    hours: float,
    kind: FluidCatch.Kind = CAUGHT,
    injected: Material | None = None,
    id: UUID | None = None,
) -> Entry:
    """Fluid comes back from the span into a vessel."""
    vessel.refresh_from_db()
    assert vessel.place is not None
    line = Caught(world.recovered, gal(amount), world.span, End(vessel.place, vessel), injected)
    return take_back(
        id=id or uuid4(),
        by=world.other_actor,
        occurred_at=at(hours),
        returned=[Returned(line, kind)],
    )


def pour(world: World, source: Container, target: Container, amount: int, *, hours: float) -> Entry:
    for vessel in (source, target):
        vessel.refresh_from_db()
    assert source.place is not None
    assert target.place is not None
    material = source.holdings.filter(quantity__gt=0).get().material
    line = Line(material, gal(amount), End(source.place, source), End(target.place, target))
    return decant(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line], as_report=True)


def approve_limits(world: World, by: Actor | None = None) -> None:
    """What the company wants of its recovered fluid (invented)."""
    for measured, unit, bounds in (
        ("pH", "", Bounds(7.0, 9.5)),
        ("solids", "mg/L", Bounds(None, 200.0)),
    ):
        set_fluid_limit(
            material=world.recovered,
            measured=measured,
            unit=unit,
            bounds=bounds,
            by=by or world.actor,
            occurred_at=at(0),
        )


def allow_same_day(world: World, *, most_uses: int = 1, test_valid_days: int | None = None) -> None:
    set_fluid_policy(
        material=world.recovered,
        may_reuse_same_day=True,
        most_uses=most_uses,
        test_valid_days=test_valid_days,
    )
