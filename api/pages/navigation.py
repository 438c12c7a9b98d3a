"""Where each duty finds its pages: one table, from which the bar at the top and the first page follow."""

from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _

from api.models import User

Role = User.Role


@dataclass(frozen=True)
class Area:
    """A word in the bar, the page it opens, and whose duty it is."""

    word: str
    page: str
    roles: frozenset[str]


@dataclass(frozen=True)
class ShownArea:
    """A word as one person sees it now."""

    word: str
    address: str
    is_current: bool


OFFICE = frozenset({Role.STORES, Role.PLANNER, Role.ACCOUNTS, Role.SAFETY, Role.ADMIN})
BUYING = frozenset({Role.STORES, Role.PLANNER, Role.ACCOUNTS, Role.ADMIN})
KEEPING = frozenset({Role.STORES, Role.ADMIN})
COUNTING_MONEY = frozenset({Role.ACCOUNTS, Role.ADMIN})
EVERYONE = frozenset(Role)
# In the order of the bar. The first that is open to a role is where that person starts.
AREAS = (
    Area("Week", "week", frozenset({Role.PLANNER})),
    Area("Jobs", "jobs", frozenset({Role.ACCOUNTS})),
    Area("Safety", "safety", frozenset({Role.SAFETY})),
    Area("My days", "days", frozenset({Role.CREW})),
    Area("Field page", "field", frozenset({Role.CREW})),
    Area("Restock", "restock", BUYING),
    Area("Receive", "receive", KEEPING),
    Area("What is where", "whereabouts", EVERYONE),
    Area("Counts", "counts", KEEPING),
    Area("Kits", "kits", OFFICE),
    Area("Trucks", "trucks", OFFICE),
    Area("Week", "week", OFFICE - {Role.PLANNER}),
    Area("Crews' days", "days", OFFICE),
    Area("Jobs", "jobs", BUYING - {Role.ACCOUNTS}),
    Area("Bills", "bills", COUNTING_MONEY),
    Area("Batches", "batches", COUNTING_MONEY),
    Area("Closing", "closing", COUNTING_MONEY),
    Area("Second person", "second_words", COUNTING_MONEY | KEEPING),
    Area("Recovery", "recovery", OFFICE),
    Area("Learnt", "learnt", OFFICE),
    Area("Safety", "safety", OFFICE - {Role.SAFETY}),
)


def list_areas(role: str, path: str) -> list[ShownArea]:
    """The words open to a role; the one under which the address lies is marked."""
    found = []
    for area in AREAS:
        if role in area.roles:
            address = reverse(f"pages:{area.page}")
            found.append(ShownArea(_(area.word), address, path.startswith(address)))
    return found


def first_page(role: str) -> str:
    """The name of the page on which a role starts the day."""
    return next(area.page for area in AREAS if role in area.roles)
