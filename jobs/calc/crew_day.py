"""The fluid a crew-day needs: how much must be on the truck, simulated over its ordered steps."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
# Streams of random numbers, one for each quantity and place in the day.
OWN, SHARED, CAUGHT, RECOVERED, SWEPT = range(5)
# Columns of draws kept at a time: 10,000 draws take 80 kB each.
MOST_KEPT = 1_000


@dataclass(frozen=True)
class SpanFluid:
    """The spans of a crew-day in the order of work, one array element each.

    Attributes
    ----------
    bore_volume_m3 : array (spans,)
        Volume of the empty sheath, > 0 [m^3]
    injected_mean, injected_sd : array (spans,)
        Fluid injected over bore volume, without the set-up volume, mean > 0 [-]
    caught_mean, caught_sd : array (spans,)
        Share of what was injected that is caught while the core moves, 0 to 1 [-]
    recovered_mean, recovered_sd : array (spans,)
        Share of what was injected that comes back in all, caught and swept, 0 to 1 [-]
    swept_after : array of int (spans,)
        Index of the span after which this span's run is swept, never before the span itself [-]. Its swept
        fluid can be used again from the next span on; an index past the last span: not swept on this day.
    is_extracted_today : array of bool (spans,)
        False for a span that was extracted on an earlier day and is only swept on this one [-]
    size : array of int (spans,)
        Number of each span's cable size [-]
    injected_shared_sd : array (spans,)
        Part of `injected_sd` that all spans of the size share, since nobody knows the size's mean [-]
    """

    bore_volume_m3: Floats
    injected_mean: Floats
    injected_sd: Floats
    caught_mean: Floats
    caught_sd: Floats
    recovered_mean: Floats
    recovered_sd: Floats
    swept_after: NDArray[np.int64]
    is_extracted_today: NDArray[np.bool_]
    size: NDArray[np.int64]
    injected_shared_sd: Floats

    @property
    def count(self) -> int:
        return len(self.bore_volume_m3)


@dataclass(frozen=True)
class CrewDayFluid:
    """A simulated crew-day, one array element per draw; the means are exact, not of the draws.

    Attributes
    ----------
    shortfall_m3 : array (draws,)
        What the truck must have held: the largest shortfall along the steps [m^3]
    injected_m3, caught_m3, swept_m3 : array (draws,)
        Totals of the day [m^3]; `swept_m3` counts the runs that are swept on this day
    injected_mean_m3, recovered_mean_m3 : float
        Expected totals over the spans [m^3]; recovered is caught and swept, whenever it is swept
    """

    shortfall_m3: Floats
    injected_m3: Floats
    caught_m3: Floats
    swept_m3: Floats
    injected_mean_m3: float
    recovered_mean_m3: float

    def load_m3(self, quantile: float) -> float:
        """The load that suffices with probability `quantile`, in cubic metres."""
        if not 0 < quantile < 1:
            raise ValueError(f"quantile must be between 0 and 1, not {quantile:g}")
        return float(np.quantile(self.shortfall_m3, quantile))


def gather_spans(
    *,
    bore_volume_m3: ArrayLike,
    injected_mean: ArrayLike = 1.0,
    injected_sd: ArrayLike = 0.0,
    caught_mean: ArrayLike = 0.0,
    caught_sd: ArrayLike = 0.0,
    recovered_mean: ArrayLike = 0.0,
    recovered_sd: ArrayLike = 0.0,
    run: ArrayLike = 0,
    swept_after: ArrayLike | None = None,
    is_extracted_today: ArrayLike = True,
    size: ArrayLike = 0,
    injected_shared_sd: ArrayLike = 0.0,
) -> SpanFluid:
    """Check the spans of a crew-day and bring them into arrays; a single value stands for all spans.

    Parameters
    ----------
    bore_volume_m3 : array_like (spans,)
        Volume of each empty sheath in the order of work, > 0 [m^3]
    injected_mean, injected_sd : array_like (spans,)
        Fluid injected over bore volume, mean > 0, sd >= 0 [-]
    caught_mean, caught_sd, recovered_mean, recovered_sd : array_like (spans,)
        Shares of what was injected, 0 to 1, sd >= 0 and below that of a coin toss of the same mean [-]
    run : array_like of int (spans,)
        Number of the run each span belongs to [-]; by default a run is swept after its last span
    swept_after : array_like of int (spans,), optional
        Index of the span after which each span's run is swept, where it is known [-]
    is_extracted_today : array_like of bool (spans,)
        False for spans that are only swept on this day [-]
    size : array_like of int (spans,)
        Number of each span's cable size [-]
    injected_shared_sd : array_like (spans,)
        Part of `injected_sd` that all spans of a size share, 0 to `injected_sd` [-]

    Returns
    -------
    SpanFluid
        The same as arrays, volumes in [m^3]

    Raises
    ------
    ValueError
        If a value is out of range; the message names it and the span's index.

    References
    ----------
    .. [1] Convention of this project: a run is swept once all of its spans are extracted.
    """
    volume = np.atleast_1d(np.asarray(bore_volume_m3, dtype=np.float64))
    ratios = {
        **_spread_pair("injected", injected_mean, injected_sd, volume),
        **_spread_pair("caught", caught_mean, caught_sd, volume),
        **_spread_pair("recovered", recovered_mean, recovered_sd, volume),
    }
    after = _sweeps(run, swept_after, volume)
    extracted = np.broadcast_to(np.asarray(is_extracted_today, dtype=np.bool_), volume.shape)
    shared = np.broadcast_to(np.asarray(injected_shared_sd, dtype=np.float64), volume.shape)
    _check_spans(volume, ratios, after)
    _refuse((shared >= 0) & (shared <= ratios["injected_sd"]), "injected_shared_sd must be 0 to injected_sd")
    return SpanFluid(
        bore_volume_m3=volume,
        swept_after=after.astype(np.int64),
        is_extracted_today=extracted,
        size=np.broadcast_to(np.asarray(size, dtype=np.int64), volume.shape),
        injected_shared_sd=shared,
        **ratios,
    )


def simulate_crew_day(
    *, spans: SpanFluid, reusable_fraction: float, set_up_m3: float, draws: int, seed: int
) -> CrewDayFluid:
    """Simulate a crew-day and find the largest shortfall of fluid along its steps.

    need = max_k ( sum_{i<=k} injected_i
                   - reusable (sum_{i<k} caught_i + sum_{runs r swept before k} swept_r) )

    with injected = bore volume * ratio + set-up volume, caught and recovered shares of what was injected, and
    swept = recovered - caught. Ratios are lognormal and shares beta, both by their moments; a standard
    deviation of 0 fixes the value. Spans are independent of each other but for what those of a size share of
    their ratio: the logarithms of two of them are correlated by (shared sd / sd)^2. A draw whose recovered
    share falls below its caught share has nothing left to sweep.

    Parameters
    ----------
    spans : SpanFluid
        The spans in the order of work, volumes in [m^3], as made by `gather_spans`
    reusable_fraction : float
        Share of what came back that may be injected again on the same day, 0 to 1 [-]
    set_up_m3 : float
        Hose and priming volume of each extraction, >= 0 [m^3]
    draws : int
        Number of simulated days, >= 1 [-]
    seed : int
        Start of the random numbers, >= 0 [-]; the same seed gives the same answer

    Returns
    -------
    CrewDayFluid
        One element per draw, volumes in [m^3]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Johnson, Kotz and Balakrishnan, "Continuous Univariate Distributions", 2nd ed.: moments of the
       lognormal (vol. 1, ch. 14) and the beta distribution (vol. 2, ch. 25).
    """
    (found,) = simulate_crew_days(
        days=[spans], reusable_fraction=reusable_fraction, set_up_m3=set_up_m3, draws=draws, seed=seed
    )
    return found


def simulate_crew_days(
    *, days: Iterable[SpanFluid], reusable_fraction: float, set_up_m3: float, draws: int, seed: int
) -> Iterator[CrewDayFluid]:
    """Simulate many crew-days one after the other, each as `simulate_crew_day` does by itself.

    All days have the same seed, so what is drawn for the first, second, ... span of one day is that of the
    others too, and is drawn once. The days are not independent of each other by that: each is for its own
    kit, and their totals are not to be added draw by draw.

    Parameters
    ----------
    days : iterable of SpanFluid
        The spans of each day in the order of work, volumes in [m^3]
    reusable_fraction, set_up_m3, draws, seed
        As of `simulate_crew_day`: 0 to 1 [-], >= 0 [m^3], >= 1 [-], >= 0 [-]

    Returns
    -------
    iterator of CrewDayFluid
        One for each day, one element per draw, volumes in [m^3]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Law, "Simulation Modeling and Analysis": common random numbers (from memory).
    """
    _check_settings(reusable_fraction, set_up_m3, draws)
    drawn = _Draws(seed, draws)
    for spans in days:
        day = _Day(spans, reusable_fraction, draws)
        for index in range(spans.count):
            injected = spans.bore_volume_m3[index] * drawn.ratio(spans, index) + set_up_m3
            caught, swept = drawn.shares(spans, index)
            day.work(index, injected, injected * caught, injected * swept)
        injected_mean = spans.bore_volume_m3 * spans.injected_mean + set_up_m3
        today = spans.is_extracted_today
        yield CrewDayFluid(
            shortfall_m3=day.shortfall,
            injected_m3=day.injected,
            caught_m3=day.caught,
            swept_m3=day.swept,
            injected_mean_m3=float(injected_mean[today].sum()),
            recovered_mean_m3=float((injected_mean * spans.recovered_mean)[today].sum()),
        )


class _Day:
    """Running totals over the steps. Holding a few arrays of draws keeps them in the processor's cache."""

    def __init__(self, spans: SpanFluid, reusable_fraction: float, draws: int) -> None:
        self._spans = spans
        self._reusable = reusable_fraction
        self._to_sweep: dict[int, Floats] = {}
        self._reused = np.zeros(draws)
        self.shortfall = np.zeros(draws)
        self.injected = np.zeros(draws)
        self.caught = np.zeros(draws)
        self.swept = np.zeros(draws)

    def work(self, index: int, injected: Floats, caught: Floats, swept: Floats) -> None:
        """Extract one span, then sweep the runs that are due after it."""
        if self._spans.is_extracted_today[index]:
            self.injected += injected
            np.maximum(self.shortfall, self.injected - self._reused, out=self.shortfall)
            self.caught += caught
            self._reused += self._reusable * caught
        due = int(self._spans.swept_after[index])
        self._to_sweep[due] = self._to_sweep[due] + swept if due in self._to_sweep else swept
        if index in self._to_sweep:
            swept_now = self._to_sweep.pop(index)
            self.swept += swept_now
            self._reused += self._reusable * swept_now


class _Draws:
    """What was drawn for each place in a day, by its distribution, so that other days need not draw it again.

    Every place and quantity has a stream of its own: what one span draws does not depend on the others.
    """

    def __init__(self, seed: int, draws: int) -> None:
        self._seed, self._draws = seed, draws
        self._kept: dict[tuple[object, ...], Floats] = {}

    def ratio(self, spans: SpanFluid, index: int) -> Floats:
        """Injected over bore volume: lognormal, in part with what all spans of the size have in common."""
        mean, sd = float(spans.injected_mean[index]), float(spans.injected_sd[index])
        if sd == 0:
            return np.full(self._draws, mean)
        part = (float(spans.injected_shared_sd[index]) / sd) ** 2
        size = int(spans.size[index]) if part else None

        def draw() -> Floats:
            drawn = np.sqrt(1 - part) * self._normal(OWN, index)
            if size is not None:
                drawn = drawn + np.sqrt(part) * self._normal(SHARED, size)
            variance = np.log1p((sd / mean) ** 2)
            return np.asarray(np.exp(np.log(mean) - variance / 2 + np.sqrt(variance) * drawn))

        return self._keep((OWN, index, mean, sd, part, size), draw)

    def shares(self, spans: SpanFluid, index: int) -> tuple[Floats, Floats]:
        """What is caught and what is swept, of what was injected."""
        of_caught = float(spans.caught_mean[index]), float(spans.caught_sd[index])
        of_recovered = float(spans.recovered_mean[index]), float(spans.recovered_sd[index])
        caught = self._beta(CAUGHT, index, *of_caught)

        def draw() -> Floats:
            return np.maximum(self._beta(RECOVERED, index, *of_recovered) - caught, 0.0)

        return caught, self._keep((SWEPT, index, *of_caught, *of_recovered), draw)

    def _beta(self, kind: int, index: int, mean: float, sd: float) -> Floats:
        if sd == 0:
            return np.full(self._draws, mean)
        weight = mean * (1 - mean) / sd**2 - 1

        def draw() -> Floats:
            return self._stream(kind, index).beta(mean * weight, (1 - mean) * weight, self._draws)

        return self._keep((kind, index, mean, sd), draw)

    def _normal(self, kind: int, number: int) -> Floats:
        return self._keep((kind, number), lambda: self._stream(kind, number).standard_normal(self._draws))

    def _stream(self, kind: int, number: int) -> np.random.Generator:
        return np.random.Generator(np.random.SFC64([self._seed, kind, abs(number), int(number < 0)]))

    def _keep(self, key: tuple[object, ...], draw: Callable[[], Floats]) -> Floats:
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[key] = draw()
        return self._kept[key]


def _spread_pair(name: str, mean: ArrayLike, sd: ArrayLike, like: Floats) -> dict[str, Floats]:
    given = {f"{name}_mean": mean, f"{name}_sd": sd}
    return {
        key: np.broadcast_to(np.asarray(values, dtype=np.float64), like.shape)
        for key, values in given.items()
    }


def _sweeps(run: ArrayLike, swept_after: ArrayLike | None, like: Floats) -> NDArray[np.int64]:
    """For each span the index of the span after which it is swept, by default the last of its run."""
    runs = np.broadcast_to(np.asarray(run), like.shape)
    return _last_of_run(runs) if swept_after is None else np.broadcast_to(np.asarray(swept_after), like.shape)


def _last_of_run(runs: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each span the index of the last span of its run."""
    last = {int(run): index for index, run in enumerate(runs)}
    return np.array([last[int(run)] for run in runs], dtype=np.int64)


def _check_spans(volume: Floats, ratios: dict[str, Floats], swept_after: NDArray[np.int64]) -> None:
    if volume.ndim != 1 or not len(volume):
        raise ValueError("bore_volume_m3 must be a list of at least one span")
    _refuse(np.isfinite(volume) & (volume > 0), "bore_volume_m3 must be above 0")
    _refuse(swept_after >= np.arange(len(volume)), "swept_after must not come before the span itself")
    _refuse(ratios["injected_mean"] > 0, "injected_mean must be above 0")
    _refuse(ratios["injected_sd"] >= 0, "injected_sd must be at least 0")
    for name in ("caught", "recovered"):
        _check_share(name, ratios[f"{name}_mean"], ratios[f"{name}_sd"])


def _check_settings(reusable_fraction: float, set_up_m3: float, draws: int) -> None:
    if not 0 <= reusable_fraction <= 1:
        raise ValueError(f"reusable_fraction must be 0 to 1, not {reusable_fraction:g}")
    if not 0 <= set_up_m3 < np.inf:
        raise ValueError(f"set_up_m3 must be at least 0, not {set_up_m3:g}")
    if draws < 1:
        raise ValueError(f"draws must be at least 1, not {draws}")


def _check_share(name: str, mean: Floats, sd: Floats) -> None:
    _refuse((mean >= 0) & (mean <= 1), f"{name}_mean must be 0 to 1")
    _refuse(sd >= 0, f"{name}_sd must be at least 0")
    # No distribution on 0..1 spreads further than a coin toss, and a beta only comes close to it.
    _refuse((sd == 0) | (sd**2 < mean * (1 - mean)), f"{name}_sd must be below sqrt(mean (1 - mean))")


def _refuse(is_good: NDArray[np.bool_], message: str) -> None:
    if not np.all(is_good):
        raise ValueError(f"{message}, which span {int(np.argmin(is_good))} breaks")
