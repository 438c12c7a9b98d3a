"""From an account to what it may see and do: the one place where roles become limits."""

from dataclasses import dataclass

from django.contrib.auth.models import AnonymousUser

from api.models import User
from api.sign_in.scopes import ACCOUNTS, DECIDE, GOODS, MONEY, REPORTS
from inventory.models import Actor, Entry, Place
from inventory.queries.access import NotAllowed
from jobs.models import CrewDay, CrewDayStep
from jobs.queries.access import WorkViewer

Kind = Entry.Kind
ALL_GOODS = frozenset(Kind) - {Kind.REVALUATION}
# A crew says what happened with its own goods and hands over, drops and picks up; it plans and buys nothing.
CREW_KINDS = frozenset({Kind.TRANSFER, Kind.REPORT, Kind.RETURN})
# Stores load and unload these, whoever drives them.
OPEN_TO_STORES = frozenset({Place.Kind.VEHICLE, Place.Kind.SITE, Place.Kind.TRANSIT})

KEEPS_INSTRUMENTS = frozenset({User.Role.STORES, User.Role.SAFETY, User.Role.ADMIN})


@dataclass(frozen=True)
class Duties:
    """What a role may do, before it is narrowed to its own places."""

    postable: frozenset[str]
    may_see_money: bool


DUTIES: dict[str, Duties] = {
    User.Role.STORES: Duties(ALL_GOODS, may_see_money=True),
    User.Role.CREW: Duties(CREW_KINDS, may_see_money=False),
    User.Role.PLANNER: Duties(frozenset(), may_see_money=True),
    User.Role.ACCOUNTS: Duties(frozenset({Kind.REVALUATION}), may_see_money=True),
    User.Role.SAFETY: Duties(frozenset(), may_see_money=False),
    User.Role.ADMIN: Duties(frozenset(Kind), may_see_money=True),
}


# A token's scope lets through no more of a role than these kinds.
KINDS_OF_SCOPE: dict[str, frozenset[str]] = {
    GOODS: ALL_GOODS,
    REPORTS: CREW_KINDS,
    ACCOUNTS: frozenset({Kind.REVALUATION}),
}


def make_viewer(user: User | AnonymousUser, *, scopes: frozenset[str] | None = None) -> WorkViewer:
    """What this account may see and do now. Nobody signed in sees nothing.

    `scopes` are those of a system's token and take away from the role; None, as for people, takes nothing.
    """
    if not isinstance(user, User):
        nothing: frozenset[int] = frozenset()
        return WorkViewer(
            places=nothing, own_places=nothing, postable=frozenset(), may_see_money=False, crews=nothing
        )
    places = own_places = crews = None
    if user.role == User.Role.CREW:
        own_places = _vehicles_of(user)
        places = own_places | _job_places_of(user)
        crews = frozenset({user.crew_id} if user.crew_id else ())
    elif user.role == User.Role.STORES:
        own_places = _places_of_stores(user)
    duties = narrow(DUTIES[user.role], scopes)
    decides = scopes is None or DECIDE in scopes
    return WorkViewer(
        places=places,
        own_places=own_places,
        postable=duties.postable,
        may_see_money=duties.may_see_money,
        actor=user.actor_id,
        crews=crews,
        may_keep_instruments=decides and user.role in KEEPS_INSTRUMENTS,
        # The word opens what a role decides beside the book; what it sees does not hang on it.
        role=user.role if decides else "",
    )


def narrow(duties: Duties, scopes: frozenset[str] | None) -> Duties:
    """The duties of a role as far as a token's scopes reach."""
    if scopes is None:
        return duties
    open_kinds = frozenset[str]().union(*(KINDS_OF_SCOPE.get(scope, frozenset()) for scope in scopes))
    # Who moves value is answered with it.
    shows_money = duties.may_see_money and not scopes.isdisjoint({MONEY, ACCOUNTS})
    return Duties(duties.postable & open_kinds, may_see_money=shows_money)


def see_all() -> WorkViewer:
    """Whoever is told of everything, as a target that an admin has named; may do nothing."""
    return WorkViewer(places=None, own_places=None, postable=frozenset(), may_see_money=True, crews=None)


def get_actor(user: User | AnonymousUser) -> Actor:
    """Whom the ledger names for what this account does."""
    actor = user.actor if isinstance(user, User) else None
    if actor is None:
        raise NotAllowed("This account has no name in the ledger and cannot make entries.")
    return actor


def _vehicles_of(user: User) -> frozenset[int]:
    """The crew's own truck and those of its days that are not settled yet."""
    if user.crew is None:
        return frozenset()
    days = CrewDay.objects.filter(crew=user.crew).exclude(state=CrewDay.State.SETTLED)
    found = set(days.values_list("vehicle", flat=True))
    if user.crew.vehicle_id is not None:
        found.add(user.crew.vehicle_id)
    return frozenset(found)


def _job_places_of(user: User) -> frozenset[int]:
    """Places of the jobs on which the crew has a step, done or to be done."""
    if user.crew is None:
        return frozenset()
    steps = CrewDayStep.objects.filter(crew_day__crew=user.crew)
    found: set[int] = set()
    for path in ("span__job__place", "run__job__place"):
        places = steps.order_by().values_list(path, flat=True).distinct()
        found |= {place for place in places if place is not None}
    return frozenset(found)


def _places_of_stores(user: User) -> frozenset[int] | None:
    own = frozenset(user.warehouses.values_list("pk", flat=True))
    if not own:
        return None
    shared = Place.objects.filter(kind__in=OPEN_TO_STORES).values_list("pk", flat=True)
    return own | frozenset(shared)
