"""A company with an account of each role, a crew with a job, and another crew with another."""

from dataclasses import dataclass

from api.models import User
from inventory.models import Actor
from jobs.models import Crew, Job, Run, Span
from tests.factories.inventory import World, each, make_world
from tests.factories.jobs import (
    add_step,
    make_crew,
    make_crew_day,
    make_job,
    make_run,
    make_size,
    make_span,
)

PASSWORD = "a long one for tests"


@dataclass
class Office:
    """The small world of goods, work on it, and who may sign in by role."""

    world: World
    users: dict[str, User]
    crew: Crew
    job: Job
    run: Run
    span: Span
    foreign_crew: Crew
    foreign_job: Job
    foreign_span: Span


def make_user(name: str, role: str, *, crew: Crew | None = None) -> User:
    actor = Actor.objects.create(code=f"user-{name}", name=name, kind="person")
    return User.objects.create_user(username=name, password=PASSWORD, role=role, actor=actor, crew=crew)


def make_office() -> Office:
    """Two crews with a job and a truck each; drums in the yard and on both trucks."""
    world = make_world()
    size = make_size()
    work = []
    for name in ("north", "south"):
        crew = make_crew(name)
        job = make_job(f"J-{name}", customer=world.customer)
        run = make_run(job, "R1", size)
        span = make_span(run, "S1", "A", "B")
        add_step(make_crew_day(crew), "extract", span=span)
        work.append((crew, job, run, span))
        assert crew.vehicle is not None
        world.drum(f"D-{name}", 55, cost=550, place=crew.vehicle)
    world.drum("D-1", 55, cost=550)
    world.loose(world.projectile, each(40), cost=60)
    (crew, job, run, span), (foreign_crew, foreign_job, _run, foreign_span) = work
    users = {role: make_user(role, role) for role in User.Role.values if role != User.Role.CREW}
    users["crew"] = make_user("crew", "crew", crew=crew)
    return Office(world, users, crew, job, run, span, foreign_crew, foreign_job, foreign_span)
