"""A network as it is laid out: its streams with what each is about, and how its nodes are named to people."""

from dataclasses import dataclass, field

from inventory.models import Container, Instrument
from jobs.calc.fluid_network import Stream
from jobs.models import Run, Span
from jobs.services.balance.story import FluidStory


@dataclass(frozen=True)
class Drawn:
    """A stream with what it is about."""

    stream: Stream
    kind: str
    container: Container | None = None
    span: Span | None = None
    run: Run | None = None
    instrument: Instrument | None = None


@dataclass
class Network:
    """Streams in the fluid's stock unit, and how its nodes are named to people."""

    story: FluidStory
    drawn: list[Drawn] = field(default_factory=list)
    labels: dict[str, str] = field(default_factory=dict)

    @property
    def streams(self) -> list[Stream]:
        return [each.stream for each in self.drawn]

    def of_kind(self, kind: str) -> list[tuple[int, Drawn]]:
        """Streams of a kind with their positions."""
        return [(number, each) for number, each in enumerate(self.drawn) if each.kind == kind]
