"""One thing that a day's work takes, and what its sentences have in common."""

from dataclasses import dataclass

from inventory.models import Material, Party
from jobs.models import CableSize, CrewDayStep, Run
from jobs.queries.day_work import DayWork


@dataclass(frozen=True)
class Need:
    """So much of something by a day's work. Quantities in millionths of `unit`, variance in its square.

    `material` is None where none is known that serves: then the need is named all the same. `quantity` is
    what the kit must hold, `mean` what the work is expected to take, `returned` what comes back of it.
    """

    section: str
    title: str
    unit: str
    quantity: int
    mean: int
    why: str
    first_position: int
    material: Material | None = None
    owner: Party | None = None
    variance: float = 0.0
    returned_material: Material | None = None
    returned: int = 0
    returned_variance: float = 0.0
    run: Run | None = None
    cable_size: CableSize | None = None


def group_by_size(work: DayWork, kind: CrewDayStep.Kind) -> dict[CableSize, list[CrewDayStep]]:
    """The steps of one kind by the size of cable they are about, in the order of work; asked often, kept."""
    if kind in work.by_size:
        return work.by_size[kind]
    found = work.by_size.setdefault(kind, {})
    for step in work.steps_of(kind):
        if step.span is not None:
            found.setdefault(step.span.found_size, []).append(step)
        elif step.run is not None:
            found.setdefault(step.run.cable_size, []).append(step)
    return found


def count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
