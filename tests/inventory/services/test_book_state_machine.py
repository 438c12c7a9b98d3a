"""Any services in any order, held against a plain dictionary after each step."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.errors import SpanstockError
from inventory.models import (
    Actor,
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
from inventory.services.conversions import Caught, convert, convert_by_recipe, recover
from inventory.services.corrections import AlreadyReversed, Revaluation, dispose, revalue, reverse
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, drop, pick_up, return_goods, transfer
from inventory.services.lines import Line
from inventory.services.posting import REST, End, EntryConflict, GoodsMovedOn, NotEnoughHeld
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.reservations import release, reserve
from inventory.services.sealing import seal_batch
from inventory.units import Amount, from_millionths
from tests.factories.inventory import at, make_world
from tests.inventory.services import book_model
from tests.inventory.services.book_model import LOOSE, BookModel, Finding, Spot, Transfer

STOCK = ("main-yard", "north-yard", "truck-1", "site-1")
MATERIALS = ("fluid", "fluid-recovered", "projectile-12", "fibre-48")
FORMULAS = ("weighted_average", "fifo", "specific")
COMPANY, CUSTOMER = "own", "network"
MOST_VESSELS = 6

hours = st.integers(0, 9)
picks = st.integers(0, 999)
pieces = st.integers(1, 12)
millionths = st.one_of(st.sampled_from([1, 5_000_000, 7_123_457]), st.integers(1, 20_000_000))
costs = st.one_of(st.just(0), st.integers(0, 60_000_000))
flags = st.booleans()
seldom = st.integers(0, 4).map(lambda number: number == 4)


@dataclass
class Act:
    """A service with everything but the id, so that it can be sent again."""

    send: Callable[..., Entry]
    id: UUID
    number: int


def snapshot() -> list[list[tuple[Any, ...]]]:
    models = (Entry, Movement, ContainerChange, CountReading, Holding, CostPool, Container, Reservation)
    return [list(model.objects.order_by("pk").values_list()) for model in models]  # type: ignore[attr-defined]


class BookMachine(RuleBasedStateMachine):
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
        if refusal.code == "nothing_to_revalue":
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

    # The services

    @rule(pick=picks, kind=st.sampled_from(["drum", "tote", "reel"]), place=st.sampled_from(STOCK),
          quantity=millionths, cost=costs, hour=hours, of_customer=seldom, is_empty=seldom)  # fmt: skip
    def receive_vessel(self, pick: int, kind: str, place: str, quantity: int, cost: int, hour: int,
                       of_customer: bool, is_empty: bool) -> None:  # fmt: skip
        if len(self.model.vessels) >= MOST_VESSELS:
            return
        label = f"V{len(self.model.vessels)}-{self.number}"
        owner = CUSTOMER if of_customer else COMPANY
        material = "fibre-48" if kind == "reel" else ("fluid", "fluid-recovered")[pick % 2]

        def send(id: UUID, by: Actor, occurred_at: datetime) -> Entry:
            vessel = Container.objects.filter(label=label).first() or Container(
                label=label,
                kind=kind,
                material=None if kind == "tote" else self.materials[material],
                owner=self.parties[owner],
                place=self.places[place],
                capacity=30_000_000 if kind == "drum" else None,
            )
            line = ReceiptLine(
                self.materials[material],
                self.amount(material, quantity),
                End(self.places[place], vessel),
                cost,
            )
            return receive(
                id=id,
                by=by,
                occurred_at=occurred_at,
                source=self.places["supplier-1"],
                lines=[] if is_empty else [line],
                empties=[vessel] if is_empty else [],
            )

        self.model.vessels[label] = book_model.Vessel(place, owner)
        way = Transfer(material, owner, quantity, Spot("supplier-1"), Spot(place, label))
        self.attempt(send, hour, transfers=[] if is_empty else [way])

    @rule(
        pick=picks, other=picks, quantity=millionths, cost=costs, hour=hours, in_lot=flags, is_astray=seldom
    )
    def receive_goods(
        self, pick: int, other: int, quantity: int, cost: int, hour: int, in_lot: bool, is_astray: bool
    ) -> None:
        spot = self.astray(self.spot(pick), other, is_astray)
        material = self.material_in(spot, other)
        owner = self.owner_of(spot)
        label = f"L{self.number}" if in_lot and not spot.vessel else ""

        def send(id: UUID, by: Actor, occurred_at: datetime) -> Entry:
            lot = None
            if label:
                lot = Container.objects.filter(label=label).first() or Container(
                    label=label,
                    kind="lot",
                    material=self.materials[material],
                    owner=self.parties[owner],
                    received_at=occurred_at,
                )
            line = ReceiptLine(
                self.materials[material], self.amount(material, quantity), self.end(spot), cost, lot
            )
            return receive(
                id=id, by=by, occurred_at=occurred_at, source=self.places["supplier-1"], lines=[line]
            )

        self.attempt(send, hour, transfers=[Transfer(material, owner, quantity, Spot("supplier-1"), spot)])

    @rule(pick=picks, other=picks, quantity=st.one_of(st.just(book_model.REST), millionths), hour=hours,
          as_report=flags, is_astray=seldom, lines=st.integers(1, 2), is_waste=seldom,
          holder=st.sampled_from(["", "crew-a", "crew-b"]))  # fmt: skip
    def take_out(self, pick: int, other: int, quantity: int, hour: int, as_report: bool, is_astray: bool,
                 lines: int, is_waste: bool, holder: str) -> None:  # fmt: skip
        ways = []
        for number in range(lines):
            spot = self.astray(self.spot(pick + number), other, is_astray)
            material, owner = self.material_in(spot, other), self.owner_of(spot)
            target = Spot("waste" if is_waste else "span-1")
            ways.append(Transfer(material, owner, quantity, spot, target))

        def send(**given: Any) -> Entry:
            chosen = [self.line(way) for way in ways]
            if is_waste:
                return dispose(lines=chosen, as_report=as_report, **given)
            return draw(lines=chosen, as_report=as_report, holder=holder, **given)

        self.attempt(send, hour, is_plan=not as_report, transfers=ways)

    @rule(pick=picks, other=picks, quantity=st.one_of(st.just(book_model.REST), millionths), hour=hours,
          is_astray=seldom)  # fmt: skip
    def bring_back(self, pick: int, other: int, quantity: int, hour: int, is_astray: bool) -> None:
        spot = self.astray(self.spot(pick), other, is_astray)
        material = self.material_in(Spot("span-1"), other)
        way = Transfer(material, self.owner_of(spot), quantity, Spot("span-1"), spot)
        self.attempt(lambda **given: return_goods(lines=[self.line(way)], **given), hour, transfers=[way])

    @rule(pick=picks, other=picks, third=picks, quantity=st.one_of(st.just(book_model.REST), millionths),
          hour=hours, as_report=flags, is_astray=seldom, is_pour=flags)  # fmt: skip
    def shift_goods(self, pick: int, other: int, third: int, quantity: int, hour: int, as_report: bool,
                    is_astray: bool, is_pour: bool) -> None:  # fmt: skip
        source = self.astray(self.spot(pick), third, is_astray)
        target = self.astray(self.spot(other), third + 1, is_astray)
        way = Transfer(
            self.material_in(source, third), self.owner_of(source, target), quantity, source, target
        )
        service = decant if is_pour else transfer
        self.attempt(
            lambda **given: service(lines=[self.line(way)], as_report=as_report, **given),  # type: ignore[operator]
            hour,
            is_plan=not as_report,
            transfers=[way],
        )

    @precondition(lambda self: self.model.vessels)
    @rule(pick=picks, place=st.sampled_from(STOCK), hour=hours, as_report=flags)
    def move_vessel(self, pick: int, place: str, hour: int, as_report: bool) -> None:
        label = sorted(self.model.vessels)[pick % len(self.model.vessels)]

        def send(**given: Any) -> Entry:
            vessel = Container.objects.get(label=label)
            target = self.places[place]
            if place == "site-1":
                return drop(site=target, containers=[vessel], as_report=as_report, **given)
            if place == "truck-1":
                return pick_up(vehicle=target, containers=[vessel], as_report=as_report, **given)
            return transfer(containers=[(vessel, target)], as_report=as_report, **given)

        self.attempt(send, hour, is_plan=not as_report, moves=[(label, place)])

    @rule(pick=picks, other=picks, quantity=st.integers(0, 20_000_000), hour=hours, is_astray=seldom,
          lines=st.integers(1, 2))  # fmt: skip
    def take_stock(
        self, pick: int, other: int, quantity: int, hour: int, is_astray: bool, lines: int
    ) -> None:
        findings = []
        for number in range(lines):
            spot = self.astray(self.spot(pick + number), other, is_astray)
            findings.append(
                Finding(spot, self.material_in(spot, other), self.owner_of(spot), quantity + number)
            )

        def send(**given: Any) -> Entry:
            found = [
                Found(
                    self.materials[finding.material],
                    self.amount(finding.material, finding.quantity),
                    self.end(finding.spot),
                    self.parties[finding.owner],
                )
                for finding in findings
            ]
            return count(found=found, **given)

        self.attempt(send, hour, findings=findings)

    @rule(pick=picks, other=picks, third=picks, quantity=millionths, made=millionths, hour=hours,
          as_report=flags, is_astray=seldom)  # fmt: skip
    def make_of_others(self, pick: int, other: int, third: int, quantity: int, made: int, hour: int,
                       as_report: bool, is_astray: bool) -> None:  # fmt: skip
        source = self.astray(self.spot(pick), third, is_astray)
        target = self.astray(self.spot(other), third, is_astray)
        process = Spot("conversion")
        taken = Transfer(self.material_in(source, third), self.owner_of(source), quantity, source, process)
        given_out = Transfer(MATERIALS[third % 4], self.owner_of(target), made, process, target)
        self.attempt(
            lambda **given: convert(
                inputs=[replace(self.line(taken), target=self.end(source))],
                outputs=[replace(self.line(given_out), source=self.end(target))],
                as_report=as_report,
                **given,
            ),
            hour,
            is_plan=not as_report,
            transfers=[taken, given_out],
        )

    @rule(place=st.sampled_from(STOCK), times=st.integers(1, 3), hour=hours, as_report=flags, pick=picks)
    def make_by_recipe(self, place: str, times: int, hour: int, as_report: bool, pick: int) -> None:
        spot = self.spot(pick, place=place)
        owner = self.owner_of(spot)
        taken = Transfer("fluid", owner, times * 3_000_000, spot, Spot("conversion"))
        made = Transfer("fluid-recovered", COMPANY, times * 2_500_000, Spot("conversion"), Spot(place))

        def send(**given: Any) -> Entry:
            vessel = self.end(spot).container
            return convert_by_recipe(
                recipe=self.recipe,
                times=times,
                place=self.places[place],
                containers={self.materials["fluid"].pk: vessel} if vessel else {},
                as_report=as_report,
                **given,
            )

        self.attempt(send, hour, is_plan=not as_report, transfers=[taken, made])

    @rule(pick=picks, other=picks, quantity=millionths, hour=hours, is_astray=seldom)
    def catch_fluid(self, pick: int, other: int, quantity: int, hour: int, is_astray: bool) -> None:
        spot = self.astray(self.spot(pick), other, is_astray)
        owner = self.owner_of(spot)
        ways = [
            Transfer("fluid", owner, quantity, Spot("span-1"), Spot("conversion")),
            Transfer("fluid-recovered", owner, quantity, Spot("conversion"), spot),
        ]
        self.attempt(
            lambda **given: recover(
                caught=[
                    Caught(
                        self.materials["fluid-recovered"],
                        self.amount("fluid", quantity),
                        self.places["span-1"],
                        self.end(spot),
                    )
                ],
                **given,
            ),
            hour,
            transfers=ways,
        )

    @rule(place=st.sampled_from([*STOCK, "span-1"]), pick=picks, change=st.integers(-30_000_000, 30_000_000),
          hour=hours, against=st.sampled_from(["write-down", "price-variance", "supplier-1"]))  # fmt: skip
    def change_value(self, place: str, pick: int, change: int, hour: int, against: str) -> None:
        material = self.material_in(Spot(place), pick)
        self.attempt(
            lambda **given: revalue(
                changes=[Revaluation(self.materials[material], self.places[place], change or 1)],
                against=self.places[against],
                reason="worth something else",
                **given,
            ),
            hour,
        )

    @precondition(lambda self: self.acts)
    @rule(pick=picks)
    def undo(self, pick: int) -> None:
        act = self.acts[pick % len(self.acts)]
        original = Entry.objects.get(uuid=act.id)
        self.number += 1
        undoing = Act(
            lambda id, by, occurred_at: reverse(
                id=id, by=by, entry=Entry.objects.get(pk=original.pk), reason="wrong"
            ),
            UUID(int=self.number),
            self.number,
        )
        before = snapshot()
        try:
            undoing.send(id=undoing.id, by=self.actors[0], occurred_at=at(0))
        except (AlreadyReversed, GoodsMovedOn) as error:
            refusal: SpanstockError = error
        else:
            self.acts.append(undoing)
            for name in self.model.undo(act.number, undoing.number):
                self.model.piles[name].quantity = self.kept_quantity(name)
            return
        assert snapshot() == before
        if isinstance(refusal, AlreadyReversed):
            assert original.reverses_id or hasattr(original, "reversed_by")
        else:
            assert not self.model.may_undo(act.number), f"nothing has moved on: {refusal!r}"

    @rule(pick=picks, quantity=millionths, holder=st.sampled_from(["crew-a", "crew-b"]))
    def promise(self, pick: int, quantity: int, holder: str) -> None:
        spot = self.spot(pick)
        end = self.end(spot)
        before = snapshot()
        try:
            reserve(
                holder=holder,
                reference=f"kit of {holder}",
                place=end.place,
                material=self.materials[self.material_in(spot, pick)],
                owner=self.parties[self.owner_of(spot)],
                quantity=quantity,
                container=end.container,
            )
        except SpanstockError:
            assert snapshot() == before
        else:
            self.reserved += 1

    @rule(holder=st.sampled_from(["crew-a", "crew-b"]))
    def lift_promise(self, holder: str) -> None:
        release(reference=f"kit of {holder}")
        self.reserved = Reservation.objects.count()

    @rule(size=st.integers(1, 5))
    def seal(self, size: int) -> None:
        seal_batch(size)

    @precondition(lambda self: self.acts)
    @rule(pick=picks)
    def send_again(self, pick: int) -> None:
        act = self.acts[pick % len(self.acts)]
        original = Entry.objects.get(uuid=act.id)
        before = snapshot()
        again = act.send(id=act.id, by=self.actors[0], occurred_at=original.occurred_at)
        assert again.pk == original.pk
        with pytest.raises(EntryConflict):
            act.send(id=act.id, by=self.actors[1], occurred_at=original.occurred_at)
        if original.reverses_id is None:
            with pytest.raises(EntryConflict):
                act.send(id=act.id, by=self.actors[0], occurred_at=at(11))
        assert snapshot() == before

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


def run(examples: int, steps: int, *, derandomize: bool) -> None:
    run_state_machine_as_test(
        BookMachine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            database=None,
            derandomize=derandomize,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.django_db
def test_book_stands_whatever_is_done_in_whatever_order() -> None:
    run(20, 40, derandomize=True)


@pytest.mark.long
@pytest.mark.django_db
def test_book_stands_for_thousands_of_steps() -> None:
    run(150, 80, derandomize=False)
