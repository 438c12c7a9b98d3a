"""The book and its model on one bench: choosing goods, doing to both, and what holds after every step."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant

from inventory.errors import SpanstockError
from inventory.models import (
    Container,
    ContainerChange,
    CostPool,
    CountReading,
    Entry,
    Holding,
    Material,
    Movement,
    Party,
    Place,
    Recipe,
    RecipeLine,
    Reservation,
)
from inventory.queries.verification import verify_ledger
from inventory.services.lines import Line
from inventory.services.posting import REST, End, NotEnoughHeld
from inventory.units import Amount, from_millionths
from tests.factories.inventory import at, make_world
from tests.inventory.services import book_model
from tests.inventory.services.book_model import LOOSE, BookModel, Spot, Transfer

STOCK = ("main-yard", "north-yard", "truck-1", "site-1")
MATERIALS = ("fluid", "fluid-recovered", "projectile-12", "fibre-48")
FORMULAS = ("weighted_average", "fifo", "specific")
COMPANY, CUSTOMER = "own", "network"
MOST_VESSELS = 6


@dataclass
class Act:
    """A service with everything but the id, so that it can be sent again."""

    send: Callable[..., Entry]
    id: UUID
    number: int


def snapshot() -> list[list[tuple[Any, ...]]]:
    models = (Entry, Movement, ContainerChange, CountReading, Holding, CostPool, Container, Reservation)
    return [list(model.objects.order_by("pk").values_list()) for model in models]  # type: ignore[attr-defined]


class BookBench(RuleBasedStateMachine):
    """The services and the model side by side; the rules that drive them are a subclass's."""

    @initialize(formulas=st.tuples(*[st.sampled_from(FORMULAS)] * 4))
    def open_the_book(self, formulas: tuple[str, ...]) -> None:
        self.savepoint = transaction.atomic()
        self.savepoint.__enter__()
        world = make_world()
        for code, formula in zip(MATERIALS, formulas, strict=True):
            Material.objects.filter(code=code).update(cost_formula=formula)
        self.recipe = Recipe.objects.create(code="mix", name="Mix")
        for code, quantity, is_output in (("fluid", 3_000_000, False), ("fluid-recovered", 2_500_000, True)):
            material = Material.objects.get(code=code)
            RecipeLine.objects.create(
                recipe=self.recipe, material=material, quantity=quantity, is_output=is_output
            )
        self.actors = (world.actor, world.other_actor)
        self.places = {place.code: place for place in Place.objects.all()}
        self.materials = {material.code: material for material in Material.objects.all()}
        self.parties = {party.code: party for party in Party.objects.all()}
        self.model = BookModel(kept={*STOCK, "span-1"}, stock=set(STOCK))
        self.acts: list[Act] = []
        self.reserved = 0
        self.number = 0

    def teardown(self) -> None:
        if hasattr(self, "savepoint"):
            transaction.set_rollback(True)
            self.savepoint.__exit__(None, None, None)

    # Choosing

    def spot(self, pick: int, *, place: str | None = None) -> Spot:
        """A vessel where it stands, or loose goods in a stock place."""
        spots = [Spot(vessel.place, name) for name, vessel in sorted(self.model.vessels.items())]
        spots += [Spot(code) for code in STOCK]
        if place is not None:
            spots = [spot for spot in spots if spot.place == place] or [Spot(place)]
        return spots[pick % len(spots)]

    def astray(self, spot: Spot, pick: int, is_astray: bool) -> Spot:
        """The same vessel, said to stand somewhere else."""
        return replace(spot, place=STOCK[pick % len(STOCK)]) if spot.vessel and is_astray else spot

    def owner_of(self, *spots: Spot) -> str:
        owners = [self.model.vessels[spot.vessel].owner for spot in spots if spot.vessel]
        return owners[0] if owners else COMPANY

    def material_in(self, spot: Spot, pick: int) -> str:
        """Mostly what is there, else anything."""
        held = sorted(
            name[2]
            for name, pile in self.model.piles.items()
            if name[:2] == (LOOSE if spot.vessel else spot.place, spot.vessel) and pile.quantity
        )
        choices = held * 3 + list(MATERIALS)
        return choices[pick % len(choices)]

    def end(self, spot: Spot) -> End:
        vessel = Container.objects.get(label=spot.vessel) if spot.vessel else None
        return End(self.places[spot.place], vessel)

    def amount(self, material: str, quantity: int) -> Amount:
        unit = self.materials[material].stock_unit
        return Amount(from_millionths(quantity, unit), unit)

    def line(self, way: Transfer) -> Line:
        amount = REST if way.quantity == book_model.REST else self.amount(way.material, way.quantity)
        return Line(self.materials[way.material], amount, self.end(way.source), self.end(way.target))

    # Doing

    def attempt(self, send: Callable[..., Entry], hour: int, *, is_plan: bool = False, **done: Any) -> None:
        """Send to the service and tell the model, or see that a refusal changed nothing."""
        self.number += 1
        act = Act(send, UUID(int=self.number), self.number)
        before = snapshot()
        refusal: SpanstockError | None
        try:
            entry = send(id=act.id, by=self.actors[0], occurred_at=at(hour))
        except SpanstockError as error:
            refusal = error
        else:
            refusal = None
        if refusal is not None:
            assert snapshot() == before, f"refused with {refusal!r}, but changed"
            self.check_refusal(refusal, is_plan, done)
            return
        assert entry.uuid == act.id
        self.acts.append(act)
        self.model.do(act.number, hour, is_plan=is_plan, **done)

    def check_refusal(self, refusal: SpanstockError, is_plan: bool, done: dict[str, Any]) -> None:
        """A report meets no refusal for what the book says; a plan only where something is lacking."""
        ways = done.get("transfers", [])
        owners = {self.owner_of(way.source, way.target) for way in ways} | {
            self.model.vessels[spot.vessel].owner
            for way in ways
            for spot in (way.source, way.target)
            if spot.vessel
        }
        if refusal.code in {"owners_differ", "wrong_place", "bad_line", "not_recoverable"}:
            assert len(owners) > 1 or refusal.code != "owners_differ"
            return
        if refusal.code in {"nothing_to_revalue", "above_cost"}:
            return
        if refusal.code == "wrong_material":
            spots = [spot for way in ways for spot in (way.source, way.target)]
            spots += [finding.spot for finding in done.get("findings", [])]
            assert Container.objects.filter(kind="reel", label__in=[spot.vessel for spot in spots]).exists()
            return
        assert is_plan, f"a report was refused: {refusal!r}"
        if isinstance(refusal, NotEnoughHeld) and len(ways) == 1 and not self.reserved:
            way = ways[0]
            pile = self.model.pile(way.source, way.material, way.owner)
            assert pile.quantity < way.quantity, f"refused, but {pile.quantity} are there: {refusal!r}"

    # What holds after every step

    def kept_quantity(self, name: book_model.PileName) -> int:
        place, vessel, material, owner = name
        rows = Holding.objects.filter(material__code=material, owner__code=owner)
        rows = (
            rows.filter(container__label=vessel) if vessel else rows.filter(place__code=place, container=None)
        )
        return sum(rows.values_list("quantity", flat=True))

    @invariant()
    def holdings_are_as_the_model_says(self) -> None:
        kept: dict[book_model.PileName, int] = defaultdict(int)
        stands = dict(Container.objects.exclude(kind="lot").values_list("label", "place__code"))
        rows = Holding.objects.exclude(place__code="variance").values_list(
            "place__code", "container__label", "material__code", "owner__code", "quantity"
        )
        for place, vessel, material, owner, quantity in rows:
            kept[("" if vessel else place, vessel or "", material, owner)] += quantity
            assert not vessel or not quantity or stands[vessel] == place
        said = {name: pile.quantity for name, pile in self.model.piles.items() if pile.quantity}
        assert {name: quantity for name, quantity in kept.items() if quantity} == said
        assert stands == {name: vessel.place for name, vessel in self.model.vessels.items()}

    @invariant()
    def quantity_and_value_are_conserved(self) -> None:
        quantities: dict[tuple[int, int], int] = defaultdict(int)
        values: dict[tuple[int, int], int] = defaultdict(int)
        for material, owner, quantity in Holding.objects.values_list("material", "owner", "quantity"):
            quantities[material, owner] += quantity
        company = self.parties[COMPANY].pk
        for pool in CostPool.objects.select_related("place"):
            values[pool.material_id, pool.owner_id] += pool.value
            assert pool.owner_id == company or not pool.value
            if pool.place.keeps_stock:
                assert pool.quantity >= 0
                assert pool.value >= 0
            if pool.place.is_stock and not pool.quantity:
                assert not pool.value, f"{pool.value} lies without goods at {pool.place}"
        assert not any(quantities.values())
        # A conversion turns the value of one material into that of another, so all of them count together.
        assert not sum(values.values())
        assert not Holding.objects.filter(is_kept=True, quantity__lt=0).exists()

    @invariant()
    def the_book_verifies(self) -> None:
        assert list(verify_ledger()) == []
