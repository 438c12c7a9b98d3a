"""What draws cost and what is left: first in first out, or weighted average, exact to the last fraction."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from inventory.calc.exact_numbers import Exact, as_exact_not_negative

FIFO, WEIGHTED_AVERAGE = "fifo", "weighted_average"
RECEIVE, DRAW, RETURN = "receive", "draw", "return"


@dataclass(frozen=True)
class StockEvent:
    """Goods received, drawn or returned; a draw has no unit cost of its own."""

    kind: str
    quantity: Exact
    unit_cost: Exact | None = None


@dataclass(frozen=True)
class CostFlow:
    """Cost of each draw and of all, and what is left, layer by layer in the order it will leave."""

    draw_costs: list[Fraction]
    cost_of_draws: Fraction
    ending_value: Fraction
    ending_quantity: Fraction
    layers: list[tuple[Fraction, Fraction]]


class _Stock(Protocol):
    def receive(self, quantity: Fraction, unit_cost: Fraction) -> None: ...
    def take_back(self, quantity: Fraction, unit_cost: Fraction) -> None: ...
    def draw(self, quantity: Fraction) -> Fraction: ...
    def layers(self) -> list[tuple[Fraction, Fraction]]: ...


class _FirstInFirstOut:
    """Layers in the order they leave; what comes back leaves next."""

    def __init__(self) -> None:
        self._layers: deque[tuple[Fraction, Fraction]] = deque()

    def receive(self, quantity: Fraction, unit_cost: Fraction) -> None:
        self._layers.append((quantity, unit_cost))

    def take_back(self, quantity: Fraction, unit_cost: Fraction) -> None:
        self._layers.appendleft((quantity, unit_cost))

    def draw(self, quantity: Fraction) -> Fraction:
        cost = Fraction(0)
        while quantity:
            held, unit_cost = self._layers.popleft()
            taken = min(held, quantity)
            cost += taken * unit_cost
            quantity -= taken
            if held > taken:
                self._layers.appendleft((held - taken, unit_cost))
        return cost

    def layers(self) -> list[tuple[Fraction, Fraction]]:
        return list(self._layers)


class _WeightedAverage:
    """One pool of quantity and value."""

    def __init__(self) -> None:
        self._quantity = self._value = Fraction(0)

    def receive(self, quantity: Fraction, unit_cost: Fraction) -> None:
        self._quantity += quantity
        self._value += quantity * unit_cost

    take_back = receive

    def draw(self, quantity: Fraction) -> Fraction:
        cost = self._value * quantity / self._quantity if quantity else Fraction(0)
        self._quantity -= quantity
        self._value -= cost
        return cost

    def layers(self) -> list[tuple[Fraction, Fraction]]:
        return [(self._quantity, self._value / self._quantity)] if self._quantity else []


def cost_flow(*, method: str, events: Sequence[StockEvent]) -> CostFlow:
    """Cost of draws and of what is left, by first in first out or weighted average after every event.

    Parameters
    ----------
    method : str
        'fifo' or 'weighted_average'
    events : sequence of StockEvent
        In the order they happened: 'receive' and 'return' with quantity and unit_cost, 'draw' with quantity,
        all >= 0 [unit of the material], [money per unit]. What is returned leaves next (first in first out)
        or joins the average.

    Returns
    -------
    CostFlow
        draw_costs, cost_of_draws (their sum, returns not taken off) and ending_value [money],
        ending_quantity [unit of the material], layers as (quantity, unit cost) in the order they will leave.
        What came in equals what went out plus what is left, exactly.

    Raises
    ------
    ValueError
        If a parameter is out of range, or more is drawn than is held.

    References
    ----------
    .. [1] IAS 2 Inventories, paragraphs 25-27 (first in first out or weighted average; the average may be
       taken as each shipment is received).
    """
    if method not in (FIFO, WEIGHTED_AVERAGE):
        raise ValueError(f"method must be {FIFO} or {WEIGHTED_AVERAGE}, got {method!r}")
    stock: _Stock = _FirstInFirstOut() if method == FIFO else _WeightedAverage()
    held = Fraction(0)
    draws: list[Fraction] = []
    for number, event in enumerate(events):
        quantity = as_exact_not_negative(f"events[{number}].{event.kind}", event.quantity)
        if event.kind == DRAW:
            if quantity > held:
                raise ValueError(
                    f"events[{number}].draw must be at most the {float(held):g} held, got {float(quantity):g}"
                )
            draws.append(stock.draw(quantity))
            held -= quantity
        else:
            _bring_in(stock, number, event, quantity)
            held += quantity
    layers = stock.layers()
    return CostFlow(
        draw_costs=draws,
        cost_of_draws=sum(draws, Fraction(0)),
        ending_value=sum((count * unit_cost for count, unit_cost in layers), Fraction(0)),
        ending_quantity=held,
        layers=layers,
    )


def _bring_in(stock: _Stock, number: int, event: StockEvent, quantity: Fraction) -> None:
    if event.kind not in (RECEIVE, RETURN):
        raise ValueError(f"events[{number}] must be {RECEIVE}, {DRAW} or {RETURN}, got {event.kind!r}")
    if event.unit_cost is None:
        raise ValueError(f"events[{number}].unit_cost must be given")
    unit_cost = as_exact_not_negative(f"events[{number}].unit_cost", event.unit_cost)
    if not quantity:
        return
    if event.kind == RECEIVE:
        stock.receive(quantity, unit_cost)
    else:
        stock.take_back(quantity, unit_cost)
