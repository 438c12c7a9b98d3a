"""Small worlds of goods for tests: a company, a few places and materials. All invented."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

from inventory.models import Actor, Container, Holding, Material, Party, Place
from inventory.money import to_money_millionths
from inventory.services.company import set_up_company
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import Amount, parse_amount

MORNING = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def at(hours: float) -> datetime:
    """A moment so many hours into the test's day."""
    return MORNING + timedelta(hours=hours)


def gal(value: str | int) -> Amount:
    return parse_amount(str(value), "[gal_us]")


def each(value: int) -> Amount:
    return parse_amount(value, "1")


def feet(value: str | int) -> Amount:
    return parse_amount(str(value), "[ft_i]")


@dataclass
class World:
    """One company with a warehouse, a vehicle, a site, a span and what a small job needs."""

    company: Party
    customer: Party
    actor: Actor
    other_actor: Actor
    warehouse: Place
    second_warehouse: Place
    vehicle: Place
    site: Place
    span: Place
    supplier: Place
    waste: Place
    fluid: Material
    recovered: Material
    projectile: Material
    fibre: Material
    ids: list[UUID] = field(default_factory=list)

    def drum(
        self,
        label: str,
        amount: str | int = 55,
        *,
        cost: str | int = 0,
        place: Place | None = None,
        hours: float = 0,
    ) -> Container:
        """A new drum of fluid, received from the supplier."""
        container = Container(
            label=label,
            kind=Container.Kind.DRUM,
            material=self.fluid,
            owner=self.company,
            place=place or self.warehouse,
            capacity=57_000_000,
            received_at=at(hours),
        )
        receive(
            id=uuid4(),
            by=self.actor,
            occurred_at=at(hours),
            source=self.supplier,
            lines=[
                ReceiptLine(
                    self.fluid,
                    gal(amount),
                    End(place or self.warehouse, container),
                    to_money_millionths(cost),
                )
            ],
        )
        return container

    def loose(self, material: Material, amount: Amount, *, cost: str | int = 0, hours: float = 0) -> None:
        """Goods without container, received into the warehouse."""
        line = ReceiptLine(material, amount, End(self.warehouse), to_money_millionths(cost))
        receive(id=uuid4(), by=self.actor, occurred_at=at(hours), source=self.supplier, lines=[line])


def held(place: Place, material: Material, container: Container | None = None) -> int:
    """How much lies there, in millionths."""
    row = Holding.objects.filter(place=place, material=material, container=container).first()
    return row.quantity if row else 0


def make_world(*, cost_formula: str = "weighted_average") -> World:
    """Make the small world; call it inside a test that may use the database."""
    company = set_up_company(
        code="own", name="Trench Company", currency="USD", time_zone="America/Chicago"
    ).party
    customer = Party.objects.create(code="network", name="Network Owner", is_customer=True)

    def place(code: str, kind: str) -> Place:
        return Place.objects.create(code=code, name=code.replace("-", " ").capitalize(), kind=kind)

    fluid = Material.objects.create(
        code="fluid",
        name="Extraction fluid",
        kind="fluid",
        stock_unit="[gal_us]",
        density_kg_per_m3=1020.0,
        cost_formula=cost_formula,
    )
    return World(
        company=company,
        customer=customer,
        actor=Actor.objects.create(code="stores", name="Stores", kind="person"),
        other_actor=Actor.objects.create(code="crew", name="Crew", kind="person"),
        warehouse=place("main-yard", "warehouse"),
        second_warehouse=place("north-yard", "warehouse"),
        vehicle=place("truck-1", "vehicle"),
        site=place("site-1", "site"),
        span=place("span-1", "span"),
        supplier=place("supplier-1", "supplier"),
        waste=Place.objects.get(code="waste"),
        fluid=fluid,
        recovered=Material.objects.create(
            code="fluid-recovered",
            name="Recovered fluid",
            kind="fluid",
            stock_unit="[gal_us]",
            density_kg_per_m3=1015.0,
            recovered_from=fluid,
            recovered_value_share=500_000,
        ),
        projectile=Material.objects.create(
            code="projectile-12",
            name="Projectile 12 mm",
            kind="projectile",
            stock_unit="1",
            nominal_diameter_mm=12.0,
            cost_formula=cost_formula,
        ),
        fibre=Material.objects.create(
            code="fibre-48",
            name="Fibre cable 48",
            kind="fibre",
            stock_unit="[ft_i]",
            outside_diameter_mm=8.0,
            fibre_count=48,
        ),
    )
