"""What a day's kit weighs, leaving, at its heaviest and coming back, against what the truck may carry."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from inventory.models import Material
from jobs.calc.truck_load import load_along_day
from jobs.models import CoreMass, CrewDayStep, Span
from jobs.queries.catalogue import Catalogue
from jobs.queries.day_fluid import M3_PER_L, span_bore_m3
from jobs.queries.day_work import DayWork
from jobs.queries.kit_masses import goods_mass_kg, load_mass_kg, tare_kg
from jobs.queries.kit_stock import KitStock
from jobs.queries.sheet_lines import SheetLine

Step = CrewDayStep.Kind
SHOWN = 4


@dataclass(frozen=True)
class TruckLoad:
    """Kilograms on the truck; `payload_kg` is None where nobody has said what it may carry.

    `heaviest_after` is the position of the step after which it is heaviest, 0 on leaving. `unknown` names
    what is carried without anybody having said what it weighs.
    """

    leaving_kg: float
    heaviest_kg: float
    heaviest_after: int
    returning_kg: float
    payload_kg: float | None
    unknown: list[str] = field(default_factory=list)

    @property
    def is_over(self) -> bool:
        return self.payload_kg is not None and self.heaviest_kg > self.payload_kg

    @property
    def sentence(self) -> str:
        """The load in words, as a caution where it is too much."""
        after = _("after step {n}").format(n=self.heaviest_after) if self.heaviest_after else _("on leaving")
        said = _(
            "About {leaving} kg leaving, {heaviest} kg at the heaviest ({when}), {returning} kg coming back."
        ).format(
            leaving=f"{self.leaving_kg:.0f}",
            heaviest=f"{self.heaviest_kg:.0f}",
            when=after,
            returning=f"{self.returning_kg:.0f}",
        )
        return f"{said} {self._say_payload()} {self._say_unknown()}"

    def _say_payload(self) -> str:
        if self.payload_kg is None:
            return _("What the truck may carry is not known here.")
        if self.is_over:
            said = _("That is more than the {payload} kg that truck and trailer may carry.")
        else:
            said = _("Truck and trailer may carry {payload} kg.")
        return said.format(payload=f"{self.payload_kg:.0f}")

    def _say_unknown(self) -> str:
        if not self.unknown:
            return _("Tools and people are not weighed in.")
        names = ", ".join(self.unknown[:SHOWN])
        if len(self.unknown) > SHOWN:
            names = _("{names} and {n} more").format(names=names, n=len(self.unknown) - SHOWN)
        return _("Not weighed in: {names}; tools and people neither.").format(names=names)


@dataclass
class Aboard:
    """What lies on the truck before anything is loaded."""

    mass_kg: float = 0.0
    unknown: list[str] = field(default_factory=list)


def weigh_aboard(stock: KitStock) -> Aboard:
    """Weigh what is on a truck; what still stands in the yard, though it is this crew's, comes on too."""
    found = Aboard()
    for item in stock.truck:
        mass = load_mass_kg(item.container, item.material, item.offered)
        if mass is None:
            found.unknown.append(item.material.name)
        found.mass_kg += mass or 0.0
    found.mass_kg += sum(tare_kg(vessel) or 0.0 for vessel in stock.truck_vessels)
    return found


@dataclass(frozen=True)
class CoreMasses:
    """What the core of each cable size weighs, grams per metre."""

    grams_per_m: dict[int, float]

    @classmethod
    def load(cls) -> "CoreMasses":
        return cls(dict(CoreMass.objects.values_list("cable_size", "grams_per_m")))

    def of(self, span: Span) -> float:
        """Kilograms of a span's core; nothing where nobody knows."""
        return self.grams_per_m.get(span.found_size.pk, 0.0) * span.found_length_m / 1000


def weigh_day(
    work: DayWork,
    aboard: Aboard,
    lines: Iterable[SheetLine],
    catalogue: Catalogue,
    cores: CoreMasses,
    payload_kg: float | None,
) -> TruckLoad:
    """Follow the load over the steps: fluid goes into bores, part of it and the core come back."""
    leaving, unknown = aboard.mass_kg, list(aboard.unknown)
    carried: set[str] = set()
    for line in lines:
        for pick in line.picks:
            if pick.container and (pick.container in carried or line.on_truck >= line.needed):
                continue
            carried.add(pick.container)
            leaving += pick.mass_kg or 0.0
            if pick.mass_kg is None:
                unknown.append(line.title)
    off, on = (
        zip(*(_change(step, work, catalogue, cores) for step in work.steps), strict=True)
        if work.steps
        else ((), ())
    )
    found = load_along_day(leaving_kg=leaving, taken_off_kg=off, put_on_kg=on)
    after = work.steps[found.heaviest_after - 1].position if found.heaviest_after else 0
    return TruckLoad(
        leaving_kg=found.leaving_kg,
        heaviest_kg=found.heaviest_kg,
        heaviest_after=after,
        returning_kg=max(found.returning_kg, 0.0),
        payload_kg=payload_kg,
        unknown=list(dict.fromkeys(unknown)),
    )


def _change(step: CrewDayStep, work: DayWork, catalogue: Catalogue, cores: CoreMasses) -> tuple[float, float]:
    """What a step is expected to take off the truck and to put onto it, in kilograms."""
    fluid = catalogue.fluid()
    if step.span is not None:
        injected = _fluid_kg(fluid, _injected_m3(step.span, catalogue))
        return injected, injected * catalogue.learnt.caught(step.span.found_size).mean + cores.of(step.span)
    assert step.run is not None
    spans = work.spans_of(step.run)
    if step.kind == Step.CLEAN:
        return 0.0, _fluid_kg(fluid, sum(_swept_m3(span, catalogue) for span in spans))
    fibre = catalogue.fibre(step.run.job)
    unit_m = 0.3048 if fibre is not None and fibre.stock_unit == "[ft_i]" else 1.0
    length = sum(span.found_length_m for span in spans) / unit_m
    mass = goods_mass_kg(fibre, round(length * 1e6)) if fibre is not None else None
    return mass or 0.0, 0.0


def _injected_m3(span: Span, catalogue: Catalogue) -> float:
    ratio = catalogue.learnt.injected(span.found_size).mean
    return span_bore_m3(span) * ratio + catalogue.policy.set_up_volume_l * M3_PER_L


def _swept_m3(span: Span, catalogue: Catalogue) -> float:
    learnt, size = catalogue.learnt, span.found_size
    share = max(learnt.recovered(size).mean - learnt.caught(size).mean, 0.0)
    return _injected_m3(span, catalogue) * share


def _fluid_kg(fluid: Material | None, volume_m3: float) -> float:
    density = fluid.density_kg_per_m3 if fluid is not None else None
    return volume_m3 * (density or 1000.0)
