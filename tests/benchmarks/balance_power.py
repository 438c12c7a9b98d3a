"""How often a day's balance finds fluid that is missing, and how often it cries without a cause.

The days are told as a crew tells them and laid out by the service itself, without a database. One drum of
fluid for six spans: weighed before and after, metered into each span by one meter of class 1.0 whose error is
the same all day; what comes back is caught in one drum and swept into another, both weighed at the end only
and not quite empty before; bores are as measured, lengths as found; the film's share is known to 1 % of the
volume (standard uncertainty). Scales show steps of 0.5 lb. Hose and pump hold as much before as after. On
simulated days some of the fluid is lost at one of the spans.

A day counts as found where its global statistic is above a threshold: the nominal one, which the service uses
and which 5 % of days without loss exceed by the model, or the one that 5 % of the simulated days without
loss do exceed. All amounts in gallons.

Unaccounted above nothing is another question, asked of the sum alone and to one side. Drums that nobody read
before they were filled count as empty, with an uncertainty; here each of the two holds up to 0.2 gal, so that
0.2 gal more comes back than the sum expects, a third of its standard uncertainty. False alarms to that side
are then fewer than 5 %: beyond 1.645 + 0.35 a normal leaves 2.3 %, and errors of steps have no tails.
"""

import math
from dataclasses import dataclass

import numpy as np

from inventory.models import Container, Instrument, Material
from inventory.queries.instruments import TrustedInstrument
from inventory.services.measuring import measure, measure_metered
from inventory.units import MILLION, base_factor
from jobs.calc.fluid_network import NetworkBalance, Stream, balance_network
from jobs.models import (
    CableSize,
    ContainerReading,
    EstimatingPolicy,
    FluidCaught,
    Job,
    Run,
    Span,
    SpanAttempt,
)
from jobs.services.balance.expected import (
    FOUND_LENGTH_UNCERTAINTY,
    MEASURED_BORE_UNCERTAINTY,
    Expectations,
)
from jobs.services.balance.network import build_network
from jobs.services.balance.story import FluidStory, Vessel
from tests.benchmarks.measurement import Measurement

DAYS = 1_000
SPANS = 6
INJECTED = 55.0
UNIT = "[gal_us]"
M3_PER_GAL = float(base_factor(UNIT))
LB_PER_GAL = 8.6
KG_PER_LB = 0.45359237
TARE_LB = 40.0
SCALE_STEP_LB = 0.5
METER_CLASS = 1.0
METER_STEP = 0.1
BYPASS_SHARE = 0.2
FILM_SHARE = 0.08
FILM_UNCERTAINTY = 0.01
# What may be left in a drum that is called empty, as the service takes it where no heel is on record.
HEEL = 0.2
BORE_MM = 12.0
TEMPERATURE_C = 15.0
CONFIDENCE = 0.95
LOSSES = (0.0, 0.02, 0.035, 0.05)
# Over so many days the share of alarms differs from its 5 % by no more than three standard deviations.
FALSE_ALARMS = 0.05 + 3 * math.sqrt(0.05 * 0.95 / DAYS)


@dataclass(frozen=True)
class Found:
    """The balances of many days: what they came to."""

    balances: list[NetworkBalance]

    def share_above(self, threshold: float) -> float:
        """Of days whose global statistic is above a threshold."""
        return float(np.mean([balance.first.global_statistic > threshold for balance in self.balances]))

    @property
    def alarms(self) -> float:
        return float(np.mean([not balance.first.is_consistent for balance in self.balances]))

    @property
    def named(self) -> float:
        """Of the days that failed, those whose first suspect is missing fluid."""
        failed = [balance for balance in self.balances if not balance.first.is_consistent]
        return sum(balance.suspects[0].kind == "missing" for balance in failed) / max(len(failed), 1)

    @property
    def above_nothing(self) -> float:
        """Days whose unaccounted is above nothing, one-sided at 5 %."""
        found = [balance.unaccounted for balance in self.balances]
        return float(np.mean([each.amount > 1.645 * each.standard_uncertainty for each in found]))


def main(days: int = DAYS) -> list[Measurement]:
    found = {share: simulate_days(share, days) for share in LOSSES}
    without = found[0.0]
    threshold = float(
        np.quantile([balance.first.global_statistic for balance in without.balances], CONFIDENCE)
    )
    bounds: dict[float, dict[str, float]] = {0.05: {"at_least": 90}}
    curve = []
    for share in LOSSES[1:]:
        powers = {
            "at the threshold that 5 % of days without loss exceed": found[share].share_above(threshold),
            "at the nominal threshold": found[share].alarms,
        }
        curve += [
            Measurement(
                what=f"{share:.1%} lost: days found {words}",
                value=100 * power,
                unit="%",
                **bounds.get(share, {}),
            )
            for words, power in powers.items()
        ]
    return [
        *curve,
        Measurement(
            what="nothing lost: days above the nominal threshold, meant to be 5",
            value=100 * without.alarms,
            unit="%",
            at_most=100 * FALSE_ALARMS,
        ),
        Measurement(
            what="threshold that 5 % of days without loss exceed, over the nominal one",
            value=threshold / without.balances[0].first.critical_value,
            unit="-",
        ),
        Measurement(
            what="5.0% lost: days found on which missing fluid is the first suspect",
            value=100 * found[0.05].named,
            unit="%",
        ),
        Measurement(
            what="5.0% lost: days with unaccounted fluid above nothing, one-sided at 5 %",
            value=100 * found[0.05].above_nothing,
            unit="%",
        ),
        Measurement(
            what="nothing lost: the same, at most 5; fewer, as drums called empty are not quite",
            value=100 * without.above_nothing,
            unit="%",
            at_most=100 * FALSE_ALARMS,
        ),
    ]


def simulate_days(lost_share: float, days: int = DAYS) -> Found:
    random = np.random.default_rng(20_260)
    return Found([balance_network(streams=_Day(random, lost_share).streams()) for _ in range(days)])


class _Day:
    """One day on which a share of the fluid is lost at one of the spans, as it was and as it was read."""

    def __init__(self, random: np.random.Generator, lost_share: float) -> None:
        self.random = random
        self.fluid = Material(
            pk=1,
            code="fluid",
            name="Fluid",
            kind=Material.Kind.FLUID,
            stock_unit=UNIT,
            density_kg_per_m3=LB_PER_GAL * KG_PER_LB / M3_PER_GAL,
        )
        # As dense at any temperature: temperature is not what is tried here.
        self.fluid.density_table = [[degrees, self.fluid.density_kg_per_m3] for degrees in (0.0, 40.0)]
        self.scale = Instrument(pk=1, tag="SC-1", kind="scale", unit="[lb_av]", resolution=SCALE_STEP_LB)
        self.meter = Instrument(
            pk=2, tag="M-1", kind="meter", unit=UNIT, resolution=METER_STEP, accuracy_class=METER_CLASS
        )
        self.trusted = {each.pk: TrustedInstrument(each, 1.0, 0.0, 0) for each in (self.scale, self.meter)}
        # Of each drum as it truly is, by its key [lb].
        self.tares: dict[int, float] = {}
        self.meter_error = random.uniform(-METER_CLASS, METER_CLASS) / 100
        self.into = INJECTED * random.dirichlet(np.full(SPANS, 20.0))
        self.lost = np.zeros(SPANS)
        self.lost[random.integers(SPANS)] = lost_share * INJECTED
        job = Job(pk=1, reference="J-1")
        self.run = Run(pk=1, name="R1", job=job)
        self.size = CableSize(pk=1, designation=".500", nominal_bore_mm=BORE_MM, measured_bore_mm=BORE_MM)
        bore_error = random.normal(0, MEASURED_BORE_UNCERTAINTY)
        self.spans = [self._span(number, job, bore_error) for number in range(SPANS)]

    def _span(self, number: int, job: Job, bore_error: float) -> Span:
        """As long as its bore holds what does not come back while the core moves, give or take the errors."""
        error = (1 + bore_error) * (1 + self.random.normal(0, FOUND_LENGTH_UNCERTAINTY))
        bore = (1 - BYPASS_SHARE) * self.into[number] * M3_PER_GAL / error
        length_um = round(bore / (math.pi / 4 * (BORE_MM / 1000) ** 2) * MILLION)
        return Span(
            pk=number + 1,
            name=f"S{number + 1}",
            job=job,
            run=self.run,
            cable_size=self.size,
            length_um=length_um,
            as_found_length_um=length_um,
        )

    def streams(self) -> list[Stream]:
        """The network that the service lays out of what the crew tells."""
        policy = EstimatingPolicy(
            injected_ratio_mean=1 / (1 - BYPASS_SHARE),
            recovered_fraction_mean=1 - FILM_SHARE,
            recovered_fraction_sd=FILM_UNCERTAINTY,
            set_up_volume_l=0.0,
        )
        network = build_network(self._story(), Expectations(policy, {}), self.trusted, TEMPERATURE_C)
        return network.streams

    def _story(self) -> FluidStory:
        caught = BYPASS_SHARE * (self.into - self.lost).sum()
        film = FILM_SHARE * INJECTED + self.random.normal(0, FILM_UNCERTAINTY * INJECTED)
        swept = (1 - BYPASS_SHARE) * (self.into - self.lost).sum() - film
        drum, catch, sweep = (self._drum(number) for number in range(3))
        story = FluidStory(self.fluid, {self.fluid.pk})
        story.vessels = {
            drum.pk: Vessel(
                drum,
                start=self._weighed(drum, INJECTED, ContainerReading.Moment.START),
                end=self._weighed(drum, 0.0, ContainerReading.Moment.END),
            )
        }
        for box, amount in ((catch, caught), (sweep, swept)):
            there = amount + self.random.uniform(0, HEEL)
            reading = self._weighed(box, there, ContainerReading.Moment.END)
            story.vessels[box.pk] = Vessel(box, end=reading)
        story.attempts = [self._attempt(drum, number) for number in range(SPANS)]
        words = {"material": self.fluid}
        kinds = FluidCaught.Kind
        story.catches = [
            (FluidCaught(kind=kinds.CAUGHT, container=catch, **words), self.spans),
            (FluidCaught(kind=kinds.SWEPT, container=sweep, run=self.run, **words), []),
        ]
        story.runs = {self.run.pk: self.run}
        story.spans_of_runs = {self.run.pk: self.spans}
        story.is_clean = {self.run.pk: True}
        return story

    def _drum(self, number: int) -> Container:
        """With the tare that the same scale once showed."""
        self.tares[number + 1] = TARE_LB + self.random.uniform(-0.5, 0.5)
        shown = _step(self.tares[number + 1], SCALE_STEP_LB)
        kind = Container.Kind.DRUM
        label = f"D-{number + 1}"
        return Container(
            pk=number + 1, label=label, kind=kind, material=self.fluid, tare_kg=shown * KG_PER_LB
        )

    def _weighed(self, box: Container, amount: float, moment: str) -> ContainerReading:
        shown = _step(self.tares[box.pk] + amount * LB_PER_GAL, SCALE_STEP_LB)
        method, unit = ContainerReading.Method.WEIGHED, "[lb_av]"
        found = measure(
            material=self.fluid,
            method=method,
            value=shown,
            unit=unit,
            container=box,
            instrument=self.trusted[self.scale.pk],
            reference_temperature_c=TEMPERATURE_C,
        )
        return ContainerReading(
            container=box,
            moment=moment,
            material=self.fluid,
            method=method,
            value=f"{shown}",
            unit=unit,
            instrument=self.scale,
            amount=found.amount,
            standard_uncertainty=found.standard_uncertainty,
        )

    def _attempt(self, drum: Container, number: int) -> SpanAttempt:
        shown = _step(self.into[number] * (1 + self.meter_error), METER_STEP)
        found = measure_metered(
            material=self.fluid,
            start="0",
            end=f"{shown:.1f}",
            unit=UNIT,
            reference_temperature_c=TEMPERATURE_C,
            temperature_c=TEMPERATURE_C,
            instrument=self.trusted[self.meter.pk],
        )
        return SpanAttempt(
            span=self.spans[number],
            outcome=SpanAttempt.Outcome.ALL_OUT,
            meter=self.meter,
            meter_start=0,
            meter_end=round(shown * MILLION),
            meter_unit=UNIT,
            fluid=self.fluid,
            source_container=drum,
            injected=found.amount,
            injected_uncertainty=found.standard_uncertainty,
            temperature_c=TEMPERATURE_C,
        )


def _step(value: float, step: float) -> float:
    """As an instrument of such steps shows it."""
    return round(value / step) * step
