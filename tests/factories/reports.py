"""A crew's day ready to be reported: a loaded truck, two spans in a run, and what a report says of them."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from inventory.models import Container, Holding, Material
from inventory.services.goods import transfer
from inventory.units import parse_amount
from jobs.models import CrewDay, FieldReport, Span
from jobs.services.reports.content import (
    AttemptContent,
    BlowingContent,
    CatchContent,
    CleaningContent,
    ReadingContent,
    ReportContent,
    WorkName,
)
from jobs.services.reports.reporting import post_report
from tests.factories.inventory import at, held
from tests.factories.kits import SmallDay, make_small_day

S1, S2, R1 = WorkName("J-1", "S1"), WorkName("J-1", "S2"), WorkName("J-1", "R1")


@dataclass
class ReportedDay:
    """The small day with two drums of 55 gal, two empty catch drums, projectiles and a reel on the truck."""

    small: SmallDay
    first: Span
    second: Span

    @property
    def world(self):  # type: ignore[no-untyped-def]
        return self.small.world

    @property
    def crew_day(self) -> CrewDay:
        return self.small.crew_day

    def report(
        self,
        content: ReportContent,
        *,
        id: UUID | None = None,
        hours: float = 9,
        by: Any = None,
        crew_code: str = "north",
    ) -> FieldReport:
        """Post a report so many hours into the day."""
        return post_report(
            id=id or uuid4(),
            by=by or self.world.other_actor,
            occurred_at=at(hours),
            crew_code=crew_code,
            date=self.crew_day.date,
            content=content,
        )

    def used(self, span: Span, material: Material | None = None) -> int:
        """What lies at a span, in millionths."""
        return held(span.place, material or self.world.fluid)

    def inside(self, label: str) -> int:
        """What is in a container, wherever it stands."""
        rows = Holding.objects.filter(container__label=label)
        return sum(rows.values_list("quantity", flat=True))

    def at_moment(self, hours: float) -> datetime:
        return at(hours)


def make_reported_day(*, state: str = CrewDay.State.OUT) -> ReportedDay:
    small = make_small_day()
    world = small.world
    small.drum("D-1", 55, on_truck=True)
    small.drum("D-2", 55, on_truck=True)
    for label in ("C-1", "C-2"):
        small.vessel(label, on_truck=True)
    small.pieces(world.projectile, 20, on_truck=True)
    small.reel("REEL-1", 5000)
    reel = Container.objects.select_related("place", "owner", "material").get(label="REEL-1")
    transfer(id=uuid4(), by=world.actor, occurred_at=at(0.5), containers=[(reel, world.vehicle)])
    CrewDay.objects.filter(pk=small.crew_day.pk).update(state=state)
    small.crew_day.refresh_from_db()
    return ReportedDay(small, Span.objects.get(name="S1"), Span.objects.get(name="S2"))


def gallons(value: str | int) -> Any:
    return parse_amount(str(value), "[gal_us]")


def ft(value: str | int) -> Any:
    return parse_amount(str(value), "[ft_i]")


def extracted(span: WorkName, **fields: Any) -> AttemptContent:
    return AttemptContent(span=span, **fields)


def left(container: str, value: str | int, **fields: Any) -> ReadingContent:
    """So many gallons left, by the stick; nothing at all is "empty"."""
    if not Decimal(value):
        return ReadingContent(container=container, method="empty", **fields)
    return ReadingContent(
        container=container, method="dipped", value=Decimal(value), unit="[gal_us]", **fields
    )


def caught(container: str, *spans: WorkName, amount: str | int | None = None) -> CatchContent:
    return CatchContent(container=container, spans=spans, amount=None if amount is None else gallons(amount))


def swept(container: str, run: WorkName = R1, amount: str | int | None = None) -> CatchContent:
    return CatchContent(
        container=container, kind="swept", run=run, amount=None if amount is None else gallons(amount)
    )


def cleaned(run: WorkName = R1, fired: int | None = 3, **fields: Any) -> CleaningContent:
    values = {"projectile": "projectile-12", "fired": fired, "retrieved": fired}
    return CleaningContent(run=run, **{**values, **fields})


def blown(run: WorkName = R1, start: int = 5000, end: int = 3900, **fields: Any) -> BlowingContent:
    return BlowingContent(run=run, reel="REEL-1", mark_start=ft(start), mark_end=ft(end), **fields)
