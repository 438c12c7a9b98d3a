"""Acts in the life of jobs and kits, of one's own crew and of another's."""

from inventory.models import Container, Place
from tests.api.acts.case import OWN, ActCase, Json, head
from tests.factories.accounts import Office

NORTH, SOUTH = {"crew": "north", "date": "2026-03-02"}, {"crew": "south", "date": "2026-03-02"}
STATE, LOADS = "pull-sheets/{crew}/{date}/state", "pull-sheets/{crew}/{date}/loads"


def a_load(office: Office) -> Json:
    """The office's crews fetch their kits in the warehouse called yard; an empty pail stands there."""
    Container.objects.create(
        label="PAIL",
        kind=Container.Kind.PAIL,
        owner=office.world.company,
        place=Place.objects.get(code="yard"),
        state=Container.State.CLEAN,
    )
    return {**head(), "containers": [{"container": "PAIL", "reason": "for rags"}]}


def agree(day: Json, statuses: tuple[int, ...]) -> ActCase:
    return ActCase(
        "changeKitState",
        STATE,
        lambda _office: {"state": "agreed"},
        statuses,
        names=lambda _office: day,
        result="state",
    )


def load_for(day: Json, statuses: tuple[int, ...]) -> ActCase:
    return ActCase(
        "loadKit",
        LOADS,
        a_load,
        statuses,
        names=lambda _office: day,
        result="entry pullSheet { state lines { title } }",
    )


def bring_job(job: str, statuses: tuple[int, ...]) -> ActCase:
    return ActCase(
        "changeJobState",
        "jobs/{reference}/state",
        lambda _office: {"state": "on_hold"},
        statuses,
        names=lambda _office: {"reference": job},
        result="state dropped { crew date title } toComeBack { why }",
    )


KIT_ACTS: dict[str, ActCase] = {
    "agree": agree(NORTH, (401, 403, 403, 200, 403, 403, 200)),
    "agree another's": agree(SOUTH, (401, 403, 404, 200, 403, 403, 200)),
    "load": load_for(NORTH, OWN),
    "load another's": load_for(SOUTH, (401, 201, 404, 403, 403, 403, 201)),
    "hold a job": bring_job("J-north", (401, 403, 403, 200, 403, 403, 200)),
    "hold another's job": bring_job("J-south", (401, 403, 404, 200, 403, 403, 200)),
    "print": ActCase(
        "printKitsOfDay",
        "kits-of-day/{warehouse}/{date}/prints",
        lambda _office: {},
        (401, 201, 403, 403, 403, 403, 201),
        names=lambda _office: {"warehouse": "yard", "date": "2026-03-02"},
        result="warehouse { code } lastPrint { number } sheets { state }",
    ),
}
