"""`manage.py systems add NAME | list | new-secret NAME | close NAME`: who signs in by a token."""

import argparse
from dataclasses import dataclass
from typing import Any

from django.core.management.base import CommandParser
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from api.management.base import SpanstockCommand
from api.models import SystemClient, User
from api.sign_in.scopes import SCOPES
from api.sign_in.systems import add_system, close_system, renew_secret
from inventory.errors import BadInput, Fault
from jobs.models import Crew


@dataclass(frozen=True)
class _Told:
    """A system, and its secret where there is a new one to tell."""

    client: SystemClient
    secret: str = ""


class Command(SpanstockCommand):
    help = "Systems that sign in by OAuth 2.0 client credentials: add, list, give a new secret, close."

    def add_arguments(self, parser: CommandParser) -> None:
        actions = parser.add_subparsers(
            dest="action", required=True, metavar="add | list | new-secret | close"
        )
        adding = actions.add_parser(
            "add", help="make an account and credentials; the secret is shown this once"
        )
        adding.add_argument("name", help="what the system is called, here and in the ledger")
        adding.add_argument("--role", required=True, choices=User.Role.values)
        adding.add_argument("--crew", help="code of the crew, for the role crew")
        scopes = "; ".join(f"{scope}: {about}" for scope, about in SCOPES.items())
        adding.add_argument("--scope", action="append", default=[], help=f"may be repeated. {scopes}")
        listing = actions.add_parser("list", help="every system, its role and its scopes")
        renewing = actions.add_parser("new-secret", help="another secret; tokens got with the old one end")
        renewing.add_argument("name")
        closing = actions.add_parser("close", help="close the account; its tokens end at once")
        closing.add_argument("name")
        for action in (adding, listing, renewing, closing):
            action.add_argument(
                "--format",
                choices=["text", "json"],
                default=argparse.SUPPRESS,
                help="text for people, json for programs",
            )

    def answer(self, options: dict[str, Any]) -> Any:
        if options["action"] == "list":
            return list(SystemClient.objects.select_related("user").order_by("client_id"))
        if options["action"] == "add":
            crew = _find_crew(options["crew"])
            return _Told(
                *add_system(name=options["name"], role=options["role"], scopes=options["scope"], crew=crew)
            )
        if options["action"] == "new-secret":
            return _Told(*renew_secret(name=options["name"]))
        return _Told(close_system(name=options["name"]))

    def to_json(self, answer: Any) -> Any:
        if isinstance(answer, list):
            return [_client_json(client) for client in answer]
        told = {"client_secret": answer.secret} if answer.secret else {}
        return {**_client_json(answer.client), **told}

    def to_text(self, answer: Any) -> RenderableType:
        if isinstance(answer, _Told):
            return _told_text(answer)
        if not answer:
            return Text(
                "No system signs in here. Add one with: manage.py systems add NAME --role R --scope read"
            )
        table = Table("system", "role", "scopes", "is open", box=None)
        for client in answer:
            table.add_row(
                client.client_id,
                client.user.role,
                client.scopes,
                "yes" if client.user.is_active else "closed",
            )
        return table


def _client_json(client: SystemClient) -> dict[str, Any]:
    return {
        "client_id": client.client_id,
        "role": client.user.role,
        "scopes": client.scopes.split(),
        "is_open": client.user.is_active,
    }


def _told_text(told: _Told) -> RenderableType:
    name = told.client.client_id
    if not told.client.user.is_active:
        return Text(f"{name} is closed; its tokens are not taken any more.")
    if not told.secret:
        return Text(f"{name} may sign in as {told.client.user.role} with the scopes {told.client.scopes}.")
    return Group(
        Text(f"{name} may sign in as {told.client.user.role} with the scopes {told.client.scopes}."),
        Text(f"client_id      {name}"),
        Text(f"client_secret  {told.secret}"),
        Text("The secret is stored as a hash and is not shown again."),
    )


def _find_crew(code: str | None) -> Crew | None:
    if code is None:
        return None
    crew = Crew.objects.filter(code=code).first()
    if crew is None:
        raise BadInput.of([Fault("--crew", code, "there is no crew of that code")])
    return crew
