"""How often a day's balance finds fluid that is missing, and how often it cries without a cause.

One drum of fluid for six spans: weighed before and after, metered into each span by one meter of class 1.0
whose error is the same all day, what comes back weighed in two drums, and the film's share known to 1 % of
the volume (standard uncertainty). Scales show steps of 0.5 lb. On simulated days some of it is lost at one of
the spans. A day counts as found where the global test fails at 5 %. All amounts in gallons.
"""

import math
from dataclasses import dataclass

import numpy as np

from inventory.calc.measuring import Reading, metered_amount, weighed_mass
from jobs.calc.fluid_network import NetworkBalance, Stream, balance_network
from tests.benchmarks.measurement import Measurement

DAYS = 1_000
SPANS = 6
INJECTED = 55.0
LB_PER_GAL = 8.6
TARE_LB = 40.0
SCALE_STEP_LB = 0.5
METER_CLASS = 1.0
METER_STEP = 0.1
BYPASS_SHARE = 0.2
FILM_SHARE = 0.08
FILM_UNCERTAINTY = 0.01 * INJECTED
CONFIDENCE = 0.95
LOSSES = (0.0, 0.02, 0.035, 0.05)
# Over so many days the share of alarms differs from its 5 % by no more than three standard deviations.
FALSE_ALARMS = 0.05 + 3 * math.sqrt(0.05 * 0.95 / DAYS)


@dataclass(frozen=True)
class Found:
    """What the balances of many days came to: shares of days."""

    alarms: float
    named: float
    above_nothing: float


def main() -> list[Measurement]:
    found = {share: simulate_days(share) for share in LOSSES}
    bounds: dict[float, dict[str, float]] = {0.05: {"at_least": 90}}
    curve = [
        Measurement(
            what=f"{share:.1%} lost: days found by the global test",
            value=100 * found[share].alarms,
            unit="%",
            **bounds.get(share, {}),
        )
        for share in LOSSES[1:]
    ]
    alarms = found[0.0]
    return [
        *curve,
        Measurement(
            what="nothing lost: days that failed the global test, meant to be 5",
            value=100 * alarms.alarms,
            unit="%",
            at_most=100 * FALSE_ALARMS,
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
        Measurement(what="nothing lost: the same, meant to be 5", value=100 * alarms.above_nothing, unit="%"),
    ]


def simulate_days(lost_share: float) -> Found:
    random = np.random.default_rng(20_260)
    balances = [balance_network(streams=simulate_day(random, lost_share)) for _ in range(DAYS)]
    alarmed = [balance for balance in balances if not balance.first.is_consistent]
    named = [balance for balance in alarmed if balance.suspects[0].kind == "missing"]
    return Found(
        alarms=len(alarmed) / DAYS,
        named=len(named) / max(len(alarmed), 1),
        above_nothing=sum(map(_is_above_nothing, balances)) / DAYS,
    )


def _is_above_nothing(balance: NetworkBalance) -> bool:
    return balance.unaccounted.amount > 1.645 * balance.unaccounted.standard_uncertainty


def simulate_day(random: np.random.Generator, lost_share: float) -> list[Stream]:
    """The readings of one day on which a share of the fluid is lost at one of the spans."""
    into = INJECTED * random.dirichlet(np.full(SPANS, 20.0))
    lost = np.zeros(SPANS)
    lost[random.integers(SPANS)] = lost_share * INJECTED
    film = FILM_SHARE * INJECTED + random.normal(0, FILM_UNCERTAINTY)
    caught = BYPASS_SHARE * (into - lost)
    swept = into.sum() - lost.sum() - caught.sum() - film
    meter_error = random.uniform(-METER_CLASS, METER_CLASS) / 100
    streams = [
        _weighed(random, "drum start", None, "drum", INJECTED),
        _weighed(random, "drum end", "drum", None, 0.0),
        _weighed(random, "caught", "catch", None, caught.sum()),
        _weighed(random, "swept", "sweep", None, swept),
        Stream("from run", "run", "sweep"),
        Stream("film", "run", None, FILM_SHARE * INJECTED, FILM_UNCERTAINTY),
    ]
    for number in range(SPANS):
        span = f"span {number}"
        shown = round(into[number] * (1 + meter_error) / METER_STEP) * METER_STEP
        reading = metered_amount(start=0.0, end=shown, resolution=METER_STEP, accuracy_class=METER_CLASS)
        streams += [
            _stream(f"meter {number}", "drum", span, reading, "meter"),
            Stream(f"bypass {number}", span, "catch"),
            Stream(f"stays {number}", span, "run"),
        ]
    return streams


def _weighed(
    random: np.random.Generator, name: str, source: str | None, target: str | None, amount: float
) -> Stream:
    """A drum on the scale; its tare was weighed on the same scale once."""
    tare = TARE_LB + random.uniform(-0.5, 0.5)
    shown = [round(mass / SCALE_STEP_LB) * SCALE_STEP_LB for mass in (tare + amount * LB_PER_GAL, tare)]
    mass = weighed_mass(
        gross=shown[0], tare=shown[1], tare_half_width=SCALE_STEP_LB / 2, resolution=SCALE_STEP_LB
    )
    return _stream(name, source, target, mass.scaled(1 / LB_PER_GAL), f"tare of {name}")


def _stream(name: str, source: str | None, target: str | None, reading: Reading, shared: str) -> Stream:
    parts = {shared: math.hypot(reading.common_uncertainty, reading.tare_uncertainty)}
    return Stream(name, source, target, reading.amount, reading.own_uncertainty, parts)
