"""Core that was gathered, weighed and sold. All invented."""

from uuid import uuid4

from inventory.models import Actor, Party
from inventory.units import parse_amount
from jobs.models import Job
from jobs.services.core_scrap import add_to_lot, sell_lot, set_scrap_terms, weigh_lot
from tests.factories.inventory import at
from tests.factories.jobs import make_size


def sell_core(label: str, by: Actor, *, proceeds: int, jobs: dict[Job, tuple[Party, int]]) -> None:
    """A sold lot of 8 kg for so many millionths, from so many metres of the core of each job's owner."""
    for job, (owner, metres) in jobs.items():
        set_scrap_terms(job=job, owner=owner)
        length = parse_amount(metres, "m")
        add_to_lot(
            id=uuid4(),
            by=by,
            occurred_at=at(5),
            label=label,
            job=job,
            cable_size=make_size(),
            length=length,
        )
    weigh_lot(label=label, mass=parse_amount("8", "kg"), by=by, occurred_at=at(6))
    sell_lot(label=label, buyer="Metal yard", proceeds=proceeds, by=by, occurred_at=at(7))
