"""Requests made from the published description, valid and not, and what must hold of every answer.

Names in addresses are sometimes those of things that are there: made-up ones would all end at "not found".
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import APIOperation, GenerationMode
from schemathesis.config import SchemathesisConfig

from api.models import SystemClient, SystemToken
from api.rest.reference import make_schema
from api.sign_in.scopes import SCOPES, write_scopes
from api.sign_in.systems import add_system, hash_token
from tests.api.rest.furnished import DAY, Furnished

# What is well-formed may still name what is not there, or come at the wrong time.
TAKEN_OR_REFUSED = ["2xx", "400", "401", "403", "404", "409", "412", "413", "415", "422", "428"]
CONFIG = {
    "checks": {
        "positive_data_acceptance": {"expected-statuses": TAKEN_OR_REFUSED},
        "negative_data_rejection": {"expected-statuses": ["4xx"]},
        "missing_required_header": {"expected-statuses": ["400", "401", "403", "404", "415", "428"]},
    }
}


@dataclass
class Fuzzed:
    """How many requests went out, and what did not hold, by operation."""

    requests: int
    faults: dict[str, str]


def known_names(furnished: Furnished) -> dict[str, list[str]]:
    """Parts of addresses that stand for something, by their name in the description."""
    names = furnished.names
    return {
        "crew": ["north", "south"],
        "date": [DAY],
        "last_date": [DAY],
        "month": ["2026-03"],
        "code": ["fluid", "main-yard", "truck-north", "D-north", "yard", "projectile-12", "not_found"],
        "label": ["D-north", "D-south"],
        "reference": ["J-north", "J-south", *(names[name] for name in ("order", "shipment", "sheet"))],
        "place": ["main-yard"],
        "tag": ["PF-1", "PF-2", "M-1"],
        "designation": [".500"],
        "number": ["1"],
        "position": ["1"],
        "id": sorted(name for name in names.values() if len(name) == 36),
        "quarantine": [names["quarantine"], names["foreign quarantine"]],
    }


def make_token(role: str, crew: Any) -> str:
    """A token of a system with this role and every scope."""
    add_system(name=f"fuzz-{role}", role=role, scopes=list(SCOPES), crew=crew)
    client = SystemClient.objects.get(user__username=f"fuzz-{role}")
    now = timezone.now()
    SystemToken.objects.create(
        client=client,
        token_hash=hash_token(role),
        scopes=write_scopes(SCOPES),
        issued_at=now,
        expires_at=now + timezone.timedelta(days=1),
    )
    return role


def list_operations() -> list[APIOperation]:
    """Every operation of the description but signing in and out, which would end the session of the rest."""
    return list(_operations())


def _operations() -> Iterator[APIOperation]:
    schema = schemathesis.openapi.from_dict(make_schema(), config=SchemathesisConfig.from_dict(CONFIG))
    schema.app = get_wsgi_application()
    for result in schema.get_all_operations():
        operation = result.ok()
        if not operation.path.startswith(("/api/v1/oauth", "/api/v1/session", "/api/v1/calculations/")):
            yield operation


def fuzz(operations: list[APIOperation], *, token: str, known: dict[str, list[str]], examples: int) -> Fuzzed:
    """Send `examples` requests to each operation, half of them well-formed; nothing of them stays."""
    found = Fuzzed(0, {})
    for operation in operations:
        modes = [GenerationMode.POSITIVE, GenerationMode.NEGATIVE if _can_be_wrong(operation) else None]
        for mode in filter(None, modes):
            share = examples // sum(mode is not None for mode in modes)
            _fuzz_one(operation, mode, token, known, max(1, share), found)
    return found


def _can_be_wrong(operation: APIOperation) -> bool:
    """Whether there is anything but text in the address that could break the description."""
    return bool(operation.body) or bool(list(operation.query)) or bool(list(operation.headers))


def _fuzz_one(
    operation: APIOperation,
    mode: GenerationMode,
    token: str,
    known: dict[str, list[str]],
    examples: int,
    found: Fuzzed,
) -> None:
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    @given(case=operation.as_strategy(generation_mode=mode), pick=st.integers(0, 1_000))
    def send(case: Any, pick: int) -> None:
        if pick % 4:
            for name in case.path_parameters or {}:
                if name in known:
                    case.path_parameters[name] = known[name][pick % len(known[name])]
        found.requests += 1
        with transaction.atomic():
            case.call_and_validate(headers={"Authorization": f"Bearer {token}"})
            transaction.set_rollback(True)

    try:
        send()
    except BaseExceptionGroup as fault:
        found.faults[f"{operation.label} {mode.value}"] = "\n".join(
            [str(fault), *(str(part) for part in fault.exceptions)]
        )
