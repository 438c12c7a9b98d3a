"""The network of a day's fluid: containers, spans and runs are nodes, what was read or expected streams."""

import math
from dataclasses import replace

from inventory.models import Container
from inventory.queries.instruments import TrustedInstrument
from inventory.services.measuring import BadReading, Measured, measure, measure_metered
from inventory.units import MILLION, base_factor, conversion_factor, from_millionths
from jobs.calc.fluid_network import Stream
from jobs.models import BalanceStream, ContainerReading, FluidCaught, ReportedLoss, Run, Span, SpanAttempt
from jobs.services.balance.drawn import Drawn, Network
from jobs.services.balance.expected import Expectations, Expected, bore_error, bore_m3, standing_after
from jobs.services.balance.standing import find_standing
from jobs.services.balance.story import FluidStory, Pour, Vessel

Kind = BalanceStream.Kind
M3_PER_L = 1e-3
# Shares of an amount by which it may be off where nobody read it with an instrument (standard uncertainties,
# estimates without a source): as the book has it, as it was poured, as somebody told it, as it was lost.
BOOKED_UNCERTAINTY = 0.005
POURED_UNCERTAINTY = 0.01
TOLD_UNCERTAINTY = 0.05
LOST_UNCERTAINTY = 0.25
# What stood in a bore on an earlier day that was never closed, or could not tell.
STOOD_UNCERTAINTY = 0.05


def build_network(
    story: FluidStory,
    expectations: Expectations,
    trusted: dict[int, TrustedInstrument],
    reference_c: float,
) -> Network:
    """Lay the network of one fluid's day out."""
    builder = _Builder(story, expectations, trusted, reference_c)
    builder.draw_attempts()
    builder.draw_vessels()
    builder.draw_catches()
    builder.draw_bores()
    builder.draw_runs()
    builder.draw_losses()
    return builder.network


class _Builder:
    def __init__(
        self,
        story: FluidStory,
        expectations: Expectations,
        trusted: dict[int, TrustedInstrument],
        reference_c: float,
    ) -> None:
        self.story = story
        self.expectations = expectations
        self.trusted = trusted
        self.reference_c = reference_c
        self.network = Network(story)
        self.per_m3 = 1 / float(base_factor(story.fluid.stock_unit))
        self.fed: set[int] = set()
        self.has_pump = False

    # Nodes

    def vessel_node(self, container: Container) -> str:
        return self._node(f"container:{container.pk}", container.label)

    def span_node(self, span: Span) -> str:
        return self._node(f"span:{span.pk}", f"{span.name} of {span.job.reference}")

    def run_node(self, run: Run) -> str:
        return self._node(f"run:{run.pk}", f"{run.name} of {run.job.reference}")

    def pump_node(self) -> str:
        """Where fluid of drums comes together whose destinations nobody told."""
        self.has_pump = True
        return self._node("pump", "pump")

    def _node(self, node: str, label: str) -> str:
        self.network.labels[node] = label
        return node

    def add(self, stream: Stream, kind: str, **about: object) -> None:
        taken = {each.stream.name for each in self.network.drawn}
        name, number = stream.name, 2
        while name in taken:
            name, number = f"{stream.name} ({number})", number + 1
        named = replace(stream, name=name)
        self.network.drawn.append(Drawn(named, kind, **about))  # type: ignore[arg-type]

    # Streams

    def draw_attempts(self) -> None:
        for attempt in self.story.attempts:
            if attempt.source_container is not None:
                source = self.vessel_node(attempt.source_container)
                self.fed.add(attempt.source_container.pk)
            else:
                source = self.pump_node()
            target = self.span_node(attempt.span)
            amount, own, shared = self._injected(attempt)
            guess = bore_m3(attempt.span) * self.expectations.injected(attempt.span.found_size).mean
            name = f"into {self.network.labels[target]}"
            stream = Stream(name, source, target, amount, own, shared, guess * self.per_m3)
            self.add(stream, Kind.INJECTED, span=attempt.span, instrument=attempt.meter)

    def _injected(self, attempt: SpanAttempt) -> tuple[float, float, dict[str, float]]:
        """What went in: metered, with what the meter's readings share, told, or unknown."""
        if attempt.injected is None or attempt.fluid is None:
            return math.nan, 0.0, {}
        factor = float(conversion_factor(attempt.fluid.stock_unit, self.story.fluid.stock_unit)) / MILLION
        amount = attempt.injected * factor
        uncertainty = attempt.injected_uncertainty
        if uncertainty is None:
            return amount, TOLD_UNCERTAINTY * amount, {}
        common = self._common_of_meter(attempt)
        if common is None or attempt.meter is None:
            return amount, uncertainty * factor, {}
        # Of what another report told before, only the rest counts here.
        common = min(common, uncertainty)
        own = math.sqrt(max(uncertainty**2 - common**2, 0.0))
        return amount, own * factor, {f"meter {attempt.meter.tag}": common * factor}

    def _common_of_meter(self, attempt: SpanAttempt) -> float | None:
        if attempt.meter is None or attempt.meter_start is None or attempt.meter_end is None:
            return None
        try:
            found = measure_metered(
                material=attempt.fluid,  # type: ignore[arg-type]
                start=str(from_millionths(attempt.meter_start, attempt.meter_unit)),
                end=str(from_millionths(attempt.meter_end, attempt.meter_unit)),
                unit=attempt.meter_unit,
                reference_temperature_c=self.reference_c,
                temperature_c=attempt.temperature_c,
                instrument=self.trusted.get(attempt.meter.pk),
            )
        except BadReading:
            return None
        return found.common_uncertainty

    def draw_vessels(self) -> None:
        """What each container held before and holds now; a drum that no try names is pumped from."""
        caught = {catch.container_id for catch, _spans in self.story.catches}
        emptied = {row.container_id for row in self.story.waste if row.amount is None}
        has_open_attempts = self.has_pump
        for key, vessel in self.story.vessels.items():
            node = self.vessel_node(vessel.container)
            self._draw_before(vessel, node)
            self._draw_after(vessel, node, is_emptied=key in emptied)
            if key in caught or key in emptied:
                continue
            if key not in self.fed and has_open_attempts:
                self.add(
                    Stream(f"pumped from {vessel.container}", node, self.pump_node(), guess=0.0),
                    Kind.PUMPED,
                    container=vessel.container,
                )
            elif key in self.fed:
                self._draw_hose(vessel, node)
        for pour in self.story.pours:
            self._draw_pour(pour)
        if self.has_pump:
            self._draw_hose(None, "pump")

    def _draw_before(self, vessel: Vessel, node: str) -> None:
        box = vessel.container
        if vessel.start is not None:
            stream = self._reading(vessel.start, f"{box} at the start", None, node)
            self.add(stream, Kind.START, container=box, instrument=vessel.start.instrument)
            return
        amount, uncertainty = vessel.before / MILLION, vessel.before_uncertainty
        if uncertainty is not None:
            own = uncertainty / MILLION
        elif amount:
            own = BOOKED_UNCERTAINTY * abs(amount)
        else:
            own = self._unsure_of_empty(box)
        self.add(Stream(f"{box} before", None, node, amount, own), Kind.START, container=box)

    def _unsure_of_empty(self, box: Container) -> float:
        """How far a container may be off that the book calls empty: as if somebody had called it so."""
        found = measure(
            material=self.story.fluid,
            method=ContainerReading.Method.EMPTY,
            container=box,
            reference_temperature_c=self.reference_c,
        )
        return found.standard_uncertainty / MILLION

    def _draw_after(self, vessel: Vessel, node: str, *, is_emptied: bool) -> None:
        box = vessel.container
        if vessel.end is not None:
            stream = self._reading(vessel.end, f"{box} at the end", node, None)
            self.add(stream, Kind.END, container=box, instrument=vessel.end.instrument)
        elif not is_emptied:
            guess = vessel.before / MILLION
            self.add(Stream(f"{box} at the end", node, None, guess=guess), Kind.END, container=box)
        for row in self.story.waste:
            if row.container_id == box.pk:
                amount = math.nan if row.amount is None else self._amount(row.amount, row.material.stock_unit)
                own = TOLD_UNCERTAINTY * amount if row.amount is not None else 0.0
                stream = Stream(f"{box} to waste", node, None, amount, own, guess=vessel.before / MILLION)
                self.add(stream, Kind.WASTE, container=box)

    def _draw_hose(self, vessel: Vessel | None, node: str) -> None:
        """As much stands in hose and pump afterwards as before, give or take a filling."""
        filling = self.expectations.set_up_volume_l * M3_PER_L * self.per_m3
        if filling > 0:
            name = f"in hose and pump of {self.network.labels[node]}"
            self.add(
                Stream(name, node, None, 0.0, filling / math.sqrt(3)),
                Kind.HOSE,
                container=vessel.container if vessel is not None else None,
            )

    def _draw_pour(self, pour: Pour) -> None:
        ends = [self.vessel_node(box) if box is not None else None for box in (pour.source, pour.target)]
        amount = pour.amount / MILLION
        share = BOOKED_UNCERTAINTY if pour.is_received else POURED_UNCERTAINTY
        word = "received" if pour.is_received else "poured"
        name = f"{word}, {pour.source or ''} to {pour.target or ''}".replace(",  to", ", to").rstrip()
        stream = Stream(name, ends[0], ends[1], amount, share * amount)
        self.add(stream, Kind.POURED, container=pour.source or pour.target)

    def _reading(self, row: ContainerReading, name: str, source: str | None, target: str | None) -> Stream:
        factor = float(conversion_factor(row.material.stock_unit, self.story.fluid.stock_unit)) / MILLION
        shared: dict[str, float] = {}
        parts = self._parts_of(row)
        if parts is not None and parts.common_uncertainty and row.instrument is not None:
            kind = row.instrument.get_kind_display()
            shared[f"{kind} {row.instrument.tag}"] = parts.common_uncertainty * factor
        if parts is not None and parts.tare_uncertainty:
            shared[f"the tare of {row.container}"] = parts.tare_uncertainty * factor
        whole = row.standard_uncertainty * factor
        own = math.sqrt(max(whole**2 - sum(part**2 for part in shared.values()), 0.0))
        return Stream(name, source, target, row.amount * factor, own, shared)

    def _parts_of(self, row: ContainerReading) -> Measured | None:
        """How the uncertainty of a weighing falls into parts; other readings share nothing."""
        if row.method != ContainerReading.Method.WEIGHED:
            return None
        try:
            return measure(
                material=row.material,
                method=row.method,
                value=row.value,
                unit=row.unit,
                container=row.container,
                temperature_c=row.temperature_c,
                instrument=self.trusted.get(row.instrument_id or 0),
                reference_temperature_c=self.reference_c,
            )
        except BadReading:
            return None

    def draw_catches(self) -> None:
        for number, (row, named) in enumerate(self.story.catches, start=1):
            target = self.vessel_node(row.container)
            sources = self._sources_of(row, named)
            word = "swept" if row.kind == FluidCaught.Kind.SWEPT else "caught"
            kind = Kind.SWEPT if word == "swept" else Kind.CAUGHT
            amount, own = self._caught_amount(row)
            if row.amount is not None and len(sources) > 1:
                node = self._node(f"catch:{number}", f"what {row.container} caught")
                self.add(Stream(f"into {row.container}", node, target, amount, own), Kind.PUMPED)
                target, amount, own = node, math.nan, 0.0
            for source, guess, about in sources:
                name = f"{word} from {self.network.labels[source]} in {row.container}"
                stream = Stream(name, source, target, amount, own, guess=guess)
                self.add(stream, kind, container=row.container, **about)
        self._draw_untold_catches()

    def _draw_untold_catches(self) -> None:
        """What a container gained that nobody said anything was caught in came from the day's spans."""
        told = {catch.container_id for catch, _spans in self.story.catches}
        told |= {box.pk for pour in self.story.pours for box in (pour.source, pour.target) if box is not None}
        for key, vessel in self.story.vessels.items():
            if key in told or key in self.fed or vessel.end is None:
                continue
            before = (
                self._amount(vessel.start.amount, vessel.start.material.stock_unit) if vessel.start else 0.0
            )
            before = before or vessel.before / MILLION
            if self._amount(vessel.end.amount, vessel.end.material.stock_unit) > before:
                target = self.vessel_node(vessel.container)
                for span in self.story.spans:
                    source = self.span_node(span)
                    name = f"caught from {self.network.labels[source]} in {vessel.container}"
                    stream = Stream(name, source, target, guess=0.0)
                    self.add(stream, Kind.CAUGHT, container=vessel.container, span=span)

    def _caught_amount(self, row: FluidCaught) -> tuple[float, float]:
        if row.amount is None:
            return math.nan, 0.0
        amount = self._amount(row.amount, row.material.stock_unit)
        if row.standard_uncertainty is None:
            return amount, TOLD_UNCERTAINTY * amount
        return amount, self._amount(row.standard_uncertainty, row.material.stock_unit)

    def _sources_of(
        self, row: FluidCaught, named: list[Span]
    ) -> list[tuple[str, float, dict[str, Span | Run]]]:
        """The nodes that a catch came from, with a guess of how much."""
        run = self.story.runs.get(row.run_id or 0)
        if row.kind == FluidCaught.Kind.SWEPT and run is not None:
            bore = sum(bore_m3(span) for span in self.story.spans_of_runs.get(run.pk, []))
            return [(self.run_node(run), bore * self.per_m3, {"run": run})]
        spans = named or [
            span for span in self.story.spans if row.run_id is None or span.run_id == row.run_id
        ]
        found = []
        for span in spans:
            ratio = self.expectations.injected(span.found_size).mean
            share = self.expectations.caught(span.found_size).mean
            guess = bore_m3(span) * ratio * share * self.per_m3
            about: dict[str, Span | Run] = {"span": span}
            found.append((self.span_node(span), guess, about))
        return found

    def draw_bores(self) -> None:
        """What stays in the bores of the day's spans, to be swept the same day or left standing."""
        for span in self.story.spans:
            last = [row for row in self.story.attempts if row.span_id == span.pk][-1]
            expected = standing_after(last)
            run = self.story.runs.get(span.run_id)
            target = self.run_node(run) if run is not None else None
            name = f"in the bore of {self.network.labels[self.span_node(span)]}"
            stream = self._expected(expected, name, self.span_node(span), target)
            self.add(stream, Kind.BORE, span=span, run=run)

    def _expected(self, expected: Expected, name: str, source: str | None, target: str | None) -> Stream:
        own, shared = expected.own_m3 * self.per_m3, expected.shared_m3 * self.per_m3
        return Stream(
            name, source, target, expected.volume_m3 * self.per_m3, own, {expected.shared_by: shared}
        )

    def draw_runs(self) -> None:
        """What stood in a run before, what stays on its wall, and what is still in it."""
        today = {span.pk for span in self.story.spans}
        for key, run in self.story.runs.items():
            node = self.run_node(run)
            spans = self.story.spans_of_runs.get(key, [])
            earlier = [span for span in spans if span.pk not in today and span.is_extracted]
            self._draw_stood(earlier, node, run)
            film = self.expectations.film([span for span in spans if span.pk in today or span in earlier])
            label = self.network.labels[node]
            self.add(self._expected(film, f"film in {label}", node, None), Kind.FILM, run=run)
            if not self.story.is_clean[key]:
                self.add(Stream(f"still in {label}", node, None, guess=0.0), Kind.BORE, run=run)

    def _draw_stood(self, spans: list[Span], node: str, run: Run) -> None:
        """What earlier days left in these bores, as sure as their balances were of it.

        Bores of one size are off together, so what stood in them is too.
        """
        known = find_standing(spans, self.story)
        for span in spans:
            bore = bore_m3(span) * self.per_m3
            amount, uncertainty = known.get(span.pk, (bore, None))
            name = f"stood in {span.name} of {run.job.reference}"
            if uncertainty is None:
                stream = Stream(name, None, node, amount, STOOD_UNCERTAINTY * bore)
            else:
                shared = {bore_error(span.found_size): uncertainty}
                stream = Stream(name, None, node, amount, 0.0, shared)
            self.add(stream, Kind.STOOD, span=span, run=run)

    def draw_losses(self) -> None:
        for row in self.story.losses:
            source = self._where_lost(row)
            if source is None:
                continue
            amount = math.nan if row.amount is None else self._amount(row.amount, row.material.stock_unit)
            own = LOST_UNCERTAINTY * amount if row.amount is not None else 0.0
            name = f"told as lost at {self.network.labels[source]}"
            stream = Stream(name, source, None, amount, own, guess=0.0)
            self.add(stream, Kind.LOST, container=row.container, span=row.span, run=row.run)

    def _where_lost(self, row: ReportedLoss) -> str | None:
        if row.container is not None:
            return self.vessel_node(row.container)
        spans = self.story.spans
        if row.span is not None:
            spans = [span for span in spans if span.pk == row.span_id]
        elif row.run_id is not None:
            run = self.story.runs.get(row.run_id)
            if run is not None:
                return self.run_node(run)
            spans = [span for span in spans if span.run_id == row.run_id]
        if len(spans) == 1:
            return self.span_node(spans[0])
        # One of several spans: out of what comes together before them, where anything does.
        if self.has_pump:
            return "pump"
        return self.span_node(spans[0]) if spans else None

    def _amount(self, quantity: float, unit: str) -> float:
        return quantity * float(conversion_factor(unit, self.story.fluid.stock_unit)) / MILLION
