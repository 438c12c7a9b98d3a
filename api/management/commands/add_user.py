"""`manage.py add_user NAME --role ROLE`: an account that may sign in, and its name in the ledger."""

import getpass
import sys
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandParser
from django.db import transaction

from api.management.base import SpanstockCommand
from api.models import User
from inventory.errors import BadInput, Fault
from inventory.models import Actor, Place
from jobs.models import Crew


@dataclass(frozen=True)
class Account:
    """What is asked for, before anything is looked up."""

    name: str
    role: str
    password: str
    crew: str | None
    warehouses: list[str]


class Command(SpanstockCommand):
    help = "Add an account that may sign in. The password is asked for, or read from standard input."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="what the person or system signs in with")
        parser.add_argument("--role", required=True, choices=User.Role.values)
        parser.add_argument("--crew", help="code of the crew whose days and vehicle a crew account sees")
        parser.add_argument(
            "--warehouse",
            action="append",
            default=[],
            help="code of a warehouse that a stores account keeps; may be repeated; all when left out",
        )

    def answer(self, options: dict[str, Any]) -> User:
        account = Account(
            name=options["name"],
            role=options["role"],
            password=_ask_password(),
            crew=options["crew"],
            warehouses=options["warehouse"],
        )
        return add_account(account)

    def to_json(self, answer: User) -> dict[str, str]:
        return {"name": answer.username, "role": answer.role}

    def to_text(self, answer: User) -> str:
        return f"{answer.username} may sign in as {answer.get_role_display()}."


@transaction.atomic
def add_account(account: Account) -> User:
    """Make the account and the actor that the ledger names for it."""
    faults: list[Fault] = []
    crew = _find_crew(account, faults)
    warehouses = _find_warehouses(account, faults)
    user = User(username=account.name, role=account.role, crew=crew)
    try:
        user.clean_fields(exclude=["password", "actor", "crew"])
    except ValidationError as error:
        faults.append(Fault("name", account.name, " ".join(error.messages)))
    if User.objects.filter(username=account.name).exists():
        faults.append(Fault("name", account.name, "is taken"))
    elif Actor.objects.filter(code=account.name).exists():
        faults.append(Fault("name", account.name, "is the name of someone else in the ledger"))
    try:
        validate_password(account.password, user)
    except ValidationError as error:
        faults.append(Fault("password", "", " ".join(error.messages)))
    if faults:
        raise BadInput.of(faults)
    user.actor = Actor.objects.create(code=account.name, name=account.name, kind=Actor.Kind.PERSON)
    user.set_password(account.password)
    user.save()
    user.warehouses.set(warehouses)
    return user


def _find_crew(account: Account, faults: list[Fault]) -> Crew | None:
    is_crew = account.role == User.Role.CREW
    if is_crew == (account.crew is None):
        faults.append(
            Fault(
                "--crew",
                account.crew or "",
                "is needed for the role crew" if is_crew else "is given for the role crew only",
            )
        )
        return None
    if account.crew is None:
        return None
    crew = Crew.objects.filter(code=account.crew).first()
    if crew is None:
        faults.append(Fault("--crew", account.crew, "there is no crew of that code"))
    return crew


def _find_warehouses(account: Account, faults: list[Fault]) -> list[Place]:
    if account.warehouses and account.role != User.Role.STORES:
        faults.append(Fault("--warehouse", account.warehouses[0], "is given for the role stores only"))
    found = list(Place.objects.filter(code__in=account.warehouses, kind=Place.Kind.WAREHOUSE))
    unknown = set(account.warehouses) - {place.code for place in found}
    faults.extend(
        Fault("--warehouse", code, "there is no warehouse of that code") for code in sorted(unknown)
    )
    return found


def _ask_password() -> str:
    """From the keyboard, twice, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass.getpass("Password: ")
    if getpass.getpass("Again: ") != password:
        raise BadInput("The two passwords differ.")
    return password
