"""A small crew-day whose every number can be reckoned by hand, with the stock it is served from."""

from dataclasses import dataclass
from uuid import uuid4

from inventory.models import Container, Material
from inventory.money import to_money_millionths
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import parse_amount
from jobs.models import Crew, CrewDay, CrewDayStep, EstimatingPolicy, Job, Run
from tests.factories.inventory import MORNING, World, each, gal, make_world
from tests.factories.jobs import DAY, UM_PER_FOOT, add_step, make_job, make_run, make_size, make_span

LITRES_PER_GALLON = 3.785411784
METRES_PER_FOOT = 0.3048


@dataclass
class SmallDay:
    """Two spans of .500, 600 and 400 ft, extracted; their run cleaned and blown."""

    world: World
    job: Job
    run: Run
    crew_day: CrewDay

    def vessel(self, label: str, *, gallons: int = 55, on_truck: bool = False, **fields: object) -> Container:
        """A container of fluid's kind, standing empty."""
        place = self.world.vehicle if on_truck else self.world.warehouse
        values: dict[str, object] = {
            "kind": Container.Kind.DRUM,
            "material": self.world.fluid,
            "owner": self.world.company,
            "place": place,
            "state": Container.State.CLEAN,
            "capacity": gallons * 1_000_000,
        }
        return Container.objects.create(label=label, **{**values, **fields})

    def drum(
        self, label: str, amount: int, *, heel: int = 0, on_truck: bool = False, **fields: object
    ) -> None:
        """Fluid in a drum."""
        material = fields.get("material", self.world.fluid)
        assert isinstance(material, Material)
        state = fields.pop("state", Container.State.SEALED)
        drum = self.vessel(label, on_truck=on_truck, state=state, heel=heel * 1_000_000, **fields)
        self._receive(material, gal(amount), End(drum.place, drum))  # type: ignore[arg-type]
        # Receiving does not open a drum, but says when it came and what is in it.
        Container.objects.filter(pk=drum.pk).update(
            state=state, contents_state=fields.get("contents_state", Container.ContentsState.FRESH)
        )

    def reel(self, label: str, feet: int, *, is_ours: bool = False) -> None:
        owner = self.world.company if is_ours else self.world.customer
        reel = Container.objects.create(
            label=label,
            kind=Container.Kind.REEL,
            material=self.world.fibre,
            owner=owner,
            place=self.world.warehouse,
        )
        self._receive(self.world.fibre, parse_amount(feet, "[ft_i]"), End(self.world.warehouse, reel))

    def pieces(self, material: Material, count: int, *, on_truck: bool = False) -> None:
        place = self.world.vehicle if on_truck else self.world.warehouse
        self._receive(material, each(count), End(place))

    def _receive(self, material: Material, amount: object, end: End) -> None:
        line = ReceiptLine(material, amount, end, to_money_millionths(0))  # type: ignore[arg-type]
        receive(
            id=uuid4(),
            by=self.world.actor,
            occurred_at=MORNING,
            source=self.world.supplier,
            lines=[line],
        )


def make_fitting(role: str, size: str = ".500", **fields: object) -> Material:
    values = {"name": f"{role} {size}", "kind": "fitting", "stock_unit": "1", "is_reusable": role != "union"}
    return Material.objects.create(
        code=f"{role}-{size}", fitting_role=role, cable_size=size, **{**values, **fields}
    )


def make_plain_policy(**fields: object) -> EstimatingPolicy:
    """Ratios without spread, so that nothing is left to the simulation."""
    values: dict[str, object] = {
        "injected_ratio_mean": 1.2,
        "injected_ratio_sd": 0.0,
        "caught_fraction_mean": 0.2,
        "caught_fraction_sd": 0.0,
        "recovered_fraction_mean": 0.9,
        "recovered_fraction_sd": 0.0,
        "set_up_volume_l": LITRES_PER_GALLON,
        "tail_m": 50 * METRES_PER_FOOT,
    }
    return EstimatingPolicy.objects.update_or_create(pk=1, defaults={**values, **fields})[0]


def make_small_day() -> SmallDay:
    world = make_world()
    make_plain_policy()
    job = make_job(customer=world.customer)
    run = make_run(job, size=make_size())
    first = make_span(run, "S1", "P1", "P2", feet=600, sequence=1)
    second = make_span(run, "S2", "P2", "P3", feet=400, sequence=2)
    first.slack_um = 10 * UM_PER_FOOT
    first.save()
    crew = Crew.objects.create(
        code="north", name="North crew", vehicle=world.vehicle, warehouse=world.warehouse
    )
    day = CrewDay.objects.create(crew=crew, date=DAY, vehicle=world.vehicle, warehouse=world.warehouse)
    add_step(day, CrewDayStep.Kind.EXTRACT, span=first)
    add_step(day, CrewDayStep.Kind.EXTRACT, span=second)
    add_step(day, CrewDayStep.Kind.CLEAN, run=run)
    add_step(day, CrewDayStep.Kind.BLOW, run=run)
    return SmallDay(world, job, run, day)
