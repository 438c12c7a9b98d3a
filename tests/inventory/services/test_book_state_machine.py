"""Any services in any order, held against a plain dictionary after each step."""

from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule, run_state_machine_as_test

from inventory.errors import SpanstockError
from inventory.models import Actor, Container, Entry, Reservation
from inventory.services.conversions import Caught, convert, convert_by_recipe, recover
from inventory.services.corrections import AlreadyReversed, Revaluation, dispose, revalue, reverse
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, drop, pick_up, return_goods, transfer
from inventory.services.posting import End, EntryConflict, GoodsMovedOn
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.reservations import release, reserve
from inventory.services.sealing import seal_batch
from tests.factories.inventory import at
from tests.inventory.services import book_model
from tests.inventory.services.book_bench import (
    COMPANY,
    CUSTOMER,
    MATERIALS,
    MOST_VESSELS,
    STOCK,
    Act,
    BookBench,
    snapshot,
)
from tests.inventory.services.book_model import Finding, Spot, Transfer

hours = st.integers(0, 9)
picks = st.integers(0, 999)
pieces = st.integers(1, 12)
millionths = st.one_of(st.sampled_from([1, 5_000_000, 7_123_457]), st.integers(1, 20_000_000))
costs = st.one_of(st.just(0), st.integers(0, 60_000_000))
flags = st.booleans()
seldom = st.integers(0, 4).map(lambda number: number == 4)


class BookMachine(BookBench):
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
                is_agreed=True,
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
