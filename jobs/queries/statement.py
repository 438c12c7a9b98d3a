"""What a job's materials were and cost: read from the book, at the places where its materials ended up.

Every movement with an end at one of the job's places is read once, summed by place, material, owner and
purpose. The cost of the job is what these places are worth in the book, and the statement says whether
the two agree to the last millionth.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.db.models import Sum

from inventory.models import CostPool, Material, Movement, Party, Place
from inventory.queries.company import get_company
from jobs.models import Job
from jobs.queries.core_scrap import ScrapCredit, list_scrap_credits
from jobs.queries.fluid_figures import FluidSum, sum_of_job
from jobs.queries.job_places import in_parts, list_job_places
from jobs.queries.jobs import get_job

Purpose = Movement.Purpose

# Under which word a movement is stated. What is charged counts going in, what comes back counts coming out;
# so a reversal, which goes the other way with the same purpose, takes its own amount away again.
CHARGED = {
    Purpose.USED.value: "used",
    Purpose.WORN.value: "used",
    Purpose.INSTALLED.value: "installed",
    Purpose.LOST.value: "lost",
}
COMING_BACK = {Purpose.RETURNED.value: "returned", Purpose.RECOVERED.value: "recovered"}
# Corrections of amounts, late freight, price differences.
OTHER = "adjusted"


@dataclass
class Amounts:
    """Quantities (millionths of the stock unit) and values (millionths of the currency) by word."""

    quantities: dict[str, int] = field(default_factory=dict)
    values: dict[str, int] = field(default_factory=dict)

    def add(self, word: str, quantity: int, value: int) -> None:
        self.quantities[word] = self.quantities.get(word, 0) + quantity
        self.values[word] = self.values.get(word, 0) + value

    def add_movement(self, purpose: str, sign: int, quantity: int, value: int) -> None:
        """Add what went into a place of the job (`sign` 1) or out of it (-1) under its word."""
        word = CHARGED.get(purpose) or COMING_BACK.get(purpose) or OTHER
        direction = -sign if purpose in COMING_BACK else sign
        self.add(word, direction * quantity, direction * value)

    def add_all(self, other: "Amounts") -> None:
        for word, quantity in other.quantities.items():
            self.add(word, quantity, other.values[word])

    def quantity(self, word: str) -> int:
        return self.quantities.get(word, 0)

    def value(self, word: str) -> int:
        return self.values.get(word, 0)

    @property
    def drawn(self) -> int:
        """All that was charged: used, installed and lost."""
        return sum(self.quantity(word) for word in ("used", "installed", "lost"))

    @property
    def drawn_value(self) -> int:
        return sum(self.value(word) for word in ("used", "installed", "lost"))

    @property
    def stays(self) -> int:
        """What did not come back."""
        return self.drawn - self.quantity("returned") - self.quantity("recovered") + self.quantity(OTHER)

    @property
    def cost(self) -> int:
        return self.drawn_value - self.value("returned") - self.value("recovered") + self.value(OTHER)


@dataclass(frozen=True)
class StatedMaterial:
    """One material of one owner, over the whole job or in one part of it."""

    material: Material
    owner: Party
    amounts: Amounts


@dataclass(frozen=True)
class StatedPart:
    """One span or run, or the job itself for what was charged to no part of it."""

    kind: str
    name: str
    materials: list[StatedMaterial]

    @property
    def cost(self) -> int:
        return sum(line.amounts.cost for line in self.materials)


@dataclass(frozen=True)
class Statement:
    """The materials and cost of a job. Goods of others are stated apart, by quantity only."""

    job: Job
    currency: str
    materials: list[StatedMaterial]
    furnished: list[StatedMaterial]
    parts: list[StatedPart]
    book_value: int
    # What the balances of its days say, unaccounted fluid among it: outside the job's own cost.
    fluid: list[FluidSum] = field(default_factory=list)
    # What sold lots of its core brought: beside the cost in the book, and no part of it.
    scrap: list[ScrapCredit] = field(default_factory=list)

    @property
    def cost(self) -> int:
        return sum(line.amounts.cost for line in self.materials)

    @property
    def scrap_credit(self) -> int:
        """What core of the company's own brought: a by-product, taken off the cost (IAS 2.14)."""
        return sum(row.credited for row in self.scrap)

    @property
    def net_cost(self) -> int:
        """The cost in the book less the by-product."""
        return self.cost - self.scrap_credit

    @property
    def agrees_with_book(self) -> bool:
        """Whether the movements add up to what the job's places are worth in the book."""
        return self.cost == self.book_value


Key = tuple[int, int, int]


def get_statement(reference: str) -> Statement:
    """The statement of a job by its reference."""
    return make_statement(get_job(reference))


def make_statement(job: Job) -> Statement:
    """Add the job's movements up; a fixed number of queries, whatever the size of the job."""
    places = list_job_places(job)
    by_holding = _sum_movements(places)
    materials = {item.pk: item for item in Material.objects.filter(pk__in={key[1] for key in by_holding})}
    owners = {item.pk: item for item in Party.objects.filter(pk__in={key[2] for key in by_holding})}
    total: dict[tuple[int, int], Amounts] = {}
    for (_place, material, owner), amounts in by_holding.items():
        total.setdefault((material, owner), Amounts()).add_all(amounts)
    stated = state_lines(((key, amounts) for key, amounts in total.items()), materials, owners)
    value = sum(
        CostPool.objects.filter(place__in=part).aggregate(total=Sum("value"))["total"] or 0
        for part in in_parts(places)
    )
    return Statement(
        job=job,
        currency=get_company().currency,
        materials=[line for line in stated if line.owner.is_company],
        furnished=[line for line in stated if not line.owner.is_company],
        parts=list(_state_parts(by_holding, materials, owners)),
        book_value=value,
        fluid=sum_of_job(job),
        scrap=list_scrap_credits(job),
    )


def _sum_movements(places: Sequence[int]) -> dict[Key, Amounts]:
    """Amounts by place, material and owner; one query for each end and part of the places."""
    found: dict[Key, Amounts] = {}
    for end, sign in (("target_place", 1), ("source_place", -1)):
        for part in in_parts(places):
            rows = (
                Movement.objects.filter(**{f"{end}__in": part})
                .order_by()
                .values_list(end, "material", "owner", "purpose")
                .annotate(Sum("quantity"), Sum("value"))
            )
            for place, material, owner, purpose, quantity, value in rows:
                amounts = found.setdefault((place, material, owner), Amounts())
                amounts.add_movement(purpose, sign, int(quantity), int(value))
    return found


def state_lines(
    rows: Iterable[tuple[tuple[int, int], Amounts]], materials: dict[int, Material], owners: dict[int, Party]
) -> list[StatedMaterial]:
    """Amounts by the keys of material and owner as lines, in the order in which they are shown."""
    found = [
        StatedMaterial(materials[material], owners[owner], amounts) for (material, owner), amounts in rows
    ]
    return sorted(found, key=lambda line: (line.material.kind, line.material.code, line.owner.code))


def _state_parts(
    by_holding: dict[Key, Amounts],
    materials: dict[int, Material],
    owners: dict[int, Party],
) -> Iterator[StatedPart]:
    """Parts to which anything was charged: the job itself, then each run before its spans."""
    by_place: dict[int, list[tuple[tuple[int, int], Amounts]]] = {}
    for (place, material, owner), amounts in by_holding.items():
        by_place.setdefault(place, []).append(((material, owner), amounts))
    rows = [
        row
        for part in in_parts(list(by_place))
        for row in Place.objects.filter(pk__in=part)
        .order_by()
        .values_list("pk", "kind", "run__name", "span__name", "span__run__name", "span__sequence")
    ]
    order = sorted(
        rows, key=lambda row: (row[1] != "job", row[2] or row[4] or "", row[1] != "run", row[5] or 0)
    )
    for place, kind, run, span, _run_of_span, _sequence in order:
        yield StatedPart(kind, span or run or "", state_lines(by_place[place], materials, owners))
