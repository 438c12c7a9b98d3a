"""Acts of the doors, each with what it answers to every role: held against REST and GraphQL alike."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.db import transaction
from graphene.utils.str_converters import to_camel_case
from rest_framework.test import APIClient

from api.wire import settings_acts
from inventory.models import Container, Party, Recipe, RecipeLine
from inventory.services.deposits import charge_deposits
from inventory.services.posting import End
from inventory.services.quarantining import open_quarantine
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.outcomes import Decision, decide_held
from inventory.services.receiving.receipts import receive_delivery
from inventory.units import parse_amount
from jobs.models import RecoveryDrift
from jobs.services.core_scrap import add_to_lot, set_scrap_terms, weigh_lot
from tests.factories.accounts import Office
from tests.factories.fluids import allow_same_day, approve_limits, catch, inject, make_vessel
from tests.factories.inventory import at, each
from tests.factories.supply import make_supplier

Json = dict[str, Any]
AT = "2026-03-02T12:00:00-06:00"


@contextmanager
def undone() -> Iterator[None]:
    """Leave nothing of what is done within, so that the next role finds what the first one found."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def gallons(value: str) -> Json:
    return {"value": value, "unit": "[gal_us]"}


def head() -> Json:
    return {"id": str(uuid4()), "occurred_at": AT}


@dataclass(frozen=True)
class ActCase:
    """One act as it is sent, and its status for nobody, stores, crew, planner, accounts, safety, admin.

    `address` and `method` are REST's, `mutation` is GraphQL's name for it; `names` are parts of the address.
    """

    mutation: str
    address: str
    make: Callable[[Office], Json]
    statuses: tuple[int, ...]
    names: Callable[[Office], Json] = field(default=lambda _office: {})
    method: str = "post"
    result: str = "__typename"

    def send(self, client: APIClient, body: Json, names: Json, **headers: str) -> Any:
        """Send it over REST."""
        address = f"/api/v1/{self.address.format(**names)}"
        return getattr(client, self.method)(address, body, format="json", headers=headers)

    def ask(self, client: APIClient, body: Json, names: Json, result: str = "", **extra: str) -> Any:
        """Send it over GraphQL; the payload of the mutation."""
        kind = self.mutation[0].upper() + self.mutation[1:]
        given = {**names, **extra}
        declared = "".join(f", ${to_camel_case(name)}: String!" for name in given)
        passed = "".join(f", {to_camel_case(name)}: ${to_camel_case(name)}" for name in given)
        query = (
            f"mutation Do($input: {kind}Input!{declared}) {{ {self.mutation}(input: $input{passed}) "
            f"{{ result {{ {result or self.result} }} errors {{ code message pointer value }} }} }}"
        )
        variables = {"input": camel(body), **{to_camel_case(name): value for name, value in given.items()}}
        response = client.post("/graphql", {"query": query, "variables": variables}, format="json")
        answer = response.json()
        assert response.status_code == 200, answer
        assert "errors" not in answer, answer
        return answer["data"][self.mutation]


def camel(value: Any) -> Any:
    """A body of REST with the names of GraphQL."""
    if isinstance(value, dict):
        return {to_camel_case(name): camel(part) for name, part in value.items()}
    if isinstance(value, list):
        return [camel(part) for part in value]
    return value


def caught(
    office: Office, label: str = "C-north", state: str = "caught", *, in_yard: bool = False
) -> Container:
    """A vessel with ten gallons that came back today, on the north truck or in the yard."""
    world = office.world
    place = world.warehouse if in_yard else office.crew.vehicle
    drum = Container.objects.get(label="D-1" if in_yard else "D-north")
    box = make_vessel(world, label, place=place)
    inject(world, drum, 12, hours=5)
    catch(world, box, 10, hours=6)
    Container.objects.filter(pk=box.pk).update(contents_state=state)
    return box


def a_test(office: Office, **fields: Any) -> Json:
    caught(office, state="strained")
    approve_limits(office.world)
    results = [
        {"measured": "pH", "value": 8.1},
        {"measured": "solids", "value": 120, "unit": "mg/L"},
    ]
    return {**head(), "container": "C-north", "results": results, **fields}


def a_limit(office: Office, **fields: Any) -> Json:
    return {
        "occurred_at": AT,
        "material": "fluid-recovered",
        "measured": "pH",
        "lowest": 7.0,
        "highest": 9.5,
        **fields,
    }


def a_withdrawal(office: Office) -> Json:
    approve_limits(office.world)
    return {"occurred_at": AT, "material": "fluid-recovered", "measured": "pH"}


def a_policy(office: Office, **fields: Any) -> Json:
    return {"material": "fluid-recovered", "may_reuse_same_day": True, "most_uses": 2, **fields}


def a_release(office: Office, **fields: Any) -> Json:
    caught(office, state="strained")
    allow_same_day(office.world)
    return {**head(), "container": "C-north", "basis": "same_day", **fields}


def a_foreign_release(office: Office) -> Json:
    caught(office, "C-yard", state="strained", in_yard=True)
    allow_same_day(office.world)
    return {**head(), "container": "C-yard", "basis": "same_day"}


def a_straining(office: Office, **fields: Any) -> Json:
    caught(office)
    for label in ("S-north", "W-north"):
        make_vessel(office.world, label, place=office.crew.vehicle)
    return {
        **head(),
        "source": "C-north",
        "target": "S-north",
        "residue": "W-north",
        "taken": gallons("10"),
        "strained": gallons("9.5"),
        **fields,
    }


def a_blending(office: Office, **fields: Any) -> Json:
    """Ten gallons of recovered fluid into ten gallons by a recipe of one to one."""
    caught(office)
    make_vessel(office.world, "B-north", place=office.crew.vehicle)
    recipe = Recipe.objects.create(code="strain", name="Strain recovered fluid")
    for is_output in (False, True):
        RecipeLine.objects.create(
            recipe=recipe, material=office.world.recovered, quantity=5_000_000, is_output=is_output
        )
    return {
        **head(),
        "recipe": "strain",
        "times": 2,
        "place": "truck-north",
        "sources": ["C-north"],
        "target": "B-north",
        **fields,
    }


def a_spending(office: Office, **fields: Any) -> Json:
    caught(office)
    return {**head(), "container": "C-north", "reason": "full of grit", **fields}


def a_quarantine(office: Office, **fields: Any) -> Json:
    return {**head(), "container": "D-north", "reason": "smells of diesel", **fields}


def a_foreign_quarantine(office: Office) -> Json:
    return a_quarantine(office, container="D-south")


def a_lift(office: Office, **fields: Any) -> Json:
    return {**head(), "reason": "sample is fine", **fields}


def opened_quarantine(office: Office, label: str = "D-north", **fields: Any) -> Json:
    """The name of a quarantine that stands."""
    made = open_quarantine(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(1),
        container=Container.objects.get(label=label),
        reason="rust in it",
        **fields,
    )
    return {"quarantine": str(made.uuid)}


def a_waste_drum(office: Office, **fields: Any) -> Json:
    caught(office)
    return {"occurred_at": AT, "container": "C-north", **fields}


def a_handover(office: Office, **fields: Any) -> Json:
    caught(office)
    return {
        **head(),
        "containers": ["C-north"],
        "number": "M-100",
        "receiver": "Waste works (invented)",
        **fields,
    }


def a_yard_handover(office: Office) -> Json:
    caught(office, "C-yard", in_yard=True)
    return a_handover(office, containers=["C-yard"])


def dollars(value: str) -> Json:
    return {"value": value, "currency": "USD"}


def deposit_terms(office: Office, **fields: Any) -> Json:
    Party.objects.get_or_create(code="drums", defaults={"name": "Drum supplier", "is_supplier": True})
    return {"supplier": "drums", "container_kind": "drum", "amount": dollars("45.00"), **fields}


def a_charge(office: Office, **fields: Any) -> Json:
    deposit_terms(office)
    given = {"occurred_at": AT, "supplier": "drums", "containers": ["D-1", "D-north"]}
    return {**given, "amount": dollars("40.00"), "document": "slip 8", **fields}


def an_empties_return(office: Office, **fields: Any) -> Json:
    """An empty drum on the north truck, with a deposit of forty dollars."""
    deposit_terms(office)
    box = make_vessel(office.world, "E-north", place=office.crew.vehicle, state="open")
    charge_deposits(
        containers=[box], supplier=Party.objects.get(code="drums"), occurred_at=at(1), amount=40_000_000
    )
    return {**head(), "supplier": "drums", "containers": ["E-north"], **fields}


def a_drift(office: Office) -> Json:
    """The name of a drift of the north crew that nobody has looked at."""
    row = RecoveryDrift.objects.create(
        group="crew",
        crew=office.crew,
        direction="down",
        reading="2026-03-01 x",
        happened_at=at(0),
        statistic=-0.8,
        limit=0.7,
        found_at=at(1),
    )
    return {"drift": str(row.pk)}


def a_finding(_office: Office, **fields: Any) -> Json:
    return {"occurred_at": AT, "finding": "a worn seal", **fields}


def a_core_mass(_office: Office, **fields: Any) -> Json:
    return {"cable_size": ".500", "grams_per_m": 51.5, "source": "ten metres on the yard's scale", **fields}


def scrap_terms(_office: Office, **fields: Any) -> Json:
    return {"job": "J-north", "owner": "own", "document": "contract, clause 7", **fields}


def a_part(_office: Office, **fields: Any) -> Json:
    length = {"value": "400", "unit": "[ft_i]"}
    return {**head(), "lot": "LOT-1", "job": "J-north", "span": "S1", "length": length, **fields}


def gathered(office: Office) -> Json:
    """A lot of two jobs, 100 m each: the first one's core is the company's, the other's the customer's."""
    owners = (office.world.company, office.world.customer)
    for job, owner in zip((office.job, office.foreign_job), owners, strict=True):
        set_scrap_terms(job=job, owner=owner)
        add_to_lot(
            id=uuid4(),
            by=office.world.actor,
            occurred_at=at(1),
            label="LOT-1",
            job=job,
            cable_size=office.run.cable_size,
            length=parse_amount("100", "m"),
        )
    return {"lot": "LOT-1"}


def weighed(office: Office) -> Json:
    names = gathered(office)
    weigh_lot(label="LOT-1", mass=parse_amount("9", "kg"), by=office.world.actor, occurred_at=at(2))
    return names


def a_weighing(_office: Office, **fields: Any) -> Json:
    return {"occurred_at": AT, "mass": {"value": "9", "unit": "kg"}, "ticket": "W-7", **fields}


def a_sale(_office: Office, **fields: Any) -> Json:
    return {"occurred_at": AT, "buyer": "Metal yard (invented)", "proceeds": dollars("30.00"), **fields}


def company_rules(_office: Office, **fields: Any) -> Json:
    return {
        "occurred_at": AT,
        "unaccounted_limit": {"value": "10", "unit": "L"},
        "unaccounted_limit_share": 0.04,
        "report_cut_off_time": "19:30",
        "recovered_coverage_factor": 2,
        "mark_tolerance_fraction": 0.01,
        **fields,
    }


def fitting_limits(_office: Office, **fields: Any) -> Json:
    return {"most_uses": 40, "longest_age_days": 730, "inspection_holds_days": 1, **fields}


def a_supplier(_office: Office, **fields: Any) -> Json:
    return {
        "code": "pipes",
        "name": "Pipe Supply",
        "order_cost": {"value": "30.00", "currency": "USD"},
        "least_order_value": {"value": "500.00", "currency": "USD"},
        **fields,
    }


def some_terms(office: Office, **fields: Any) -> Json:
    make_supplier()
    return {
        "material": "fluid",
        "supplier": "source",
        "unit_cost": {"value": "2.00", "currency": "USD"},
        "lead_time_days": 5,
        **fields,
    }


def a_credit(_office: Office, **fields: Any) -> Json:
    return {**head(), "amount": {"value": "70.00", "currency": "USD"}, "document": "CN-1", **fields}


def sent_back(office: Office) -> Json:
    """The name of goods that went back to their supplier, 80.00 to be credited."""
    world, supplier = office.world, make_supplier()
    arrived = ArrivedLine(
        world.projectile, each(10), End(world.warehouse), unit_cost=8_000_000, finding="unordered"
    )
    receipt = receive_delivery(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(0),
        supplier=supplier,
        place=world.warehouse,
        lines=[arrived],
    )
    decision = Decision("sent_back", expected_credit=80_000_000)
    made = decide_held(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        received_line=receipt.lines.get(),
        decision=decision,
    )
    return {"outcome": str(made.uuid)}


OWN, YARD_ONLY = (401, 201, 201, 403, 403, 403, 201), (401, 201, 403, 403, 403, 201, 201)
SAFETY_ONLY = (401, 403, 403, 403, 403, 201, 403)
FLUID_ACTS: dict[str, ActCase] = {
    "test": ActCase("recordFluidTest", "fluid-tests", a_test, YARD_ONLY),
    "limit": ActCase("setFluidLimit", "fluid-limits", a_limit, SAFETY_ONLY),
    "withdraw a limit": ActCase(
        "withdrawFluidLimit",
        "fluid-limits/withdrawal",
        a_withdrawal,
        (401, 403, 403, 403, 403, 200, 403),
    ),
    "policy": ActCase("setFluidPolicy", "fluid-policies", a_policy, SAFETY_ONLY),
    "pass for the same day": ActCase("releaseFluid", "fluid-releases", a_release, OWN),
    "pass another's": ActCase(
        "releaseFluid", "fluid-releases", a_foreign_release, (401, 201, 400, 403, 403, 403, 201)
    ),
    "strain": ActCase("strainFluid", "strainings", a_straining, OWN),
    "blend": ActCase("blendFluid", "blendings", a_blending, OWN),
    "spend": ActCase("spendFluid", "spent-fluid", a_spending, OWN),
}
QUARANTINE_ACTS: dict[str, ActCase] = {
    "hold": ActCase(
        "openQuarantine",
        "quarantines",
        a_quarantine,
        (401, 201, 201, 403, 403, 201, 201),
        result="quarantine { id }",
    ),
    "hold another's": ActCase(
        "openQuarantine", "quarantines", a_foreign_quarantine, (401, 201, 400, 403, 403, 201, 201)
    ),
    "lift": ActCase(
        "liftQuarantine",
        "quarantines/{quarantine}/lift",
        a_lift,
        (401, 403, 403, 403, 403, 200, 403),
        names=opened_quarantine,
    ),
    "lift another's": ActCase(
        "liftQuarantine",
        "quarantines/{quarantine}/lift",
        a_lift,
        (401, 403, 404, 403, 403, 200, 403),
        names=lambda office: opened_quarantine(office, "D-south"),
    ),
}
MONEY_ONLY = (401, 201, 403, 403, 201, 403, 201)
WASTE_ACTS: dict[str, ActCase] = {
    "gather waste": ActCase(
        "startWasteDrum", "waste-drums", a_waste_drum, (401, 201, 201, 403, 403, 201, 201)
    ),
    "limit days": ActCase(
        "startWasteDrum",
        "waste-drums",
        lambda office: a_waste_drum(office, day_limit=90),
        SAFETY_ONLY,
    ),
    "hand over": ActCase("handOverWaste", "waste-manifests", a_handover, (401, 201, 403, 403, 403, 403, 201)),
    "hand over the yard's": ActCase(
        "handOverWaste", "waste-manifests", a_yard_handover, (401, 201, 400, 403, 403, 403, 201)
    ),
    "deposit terms": ActCase("setDepositTerms", "deposit-terms", deposit_terms, MONEY_ONLY),
    "charge": ActCase("chargeDeposits", "deposits", a_charge, (401, 201, 400, 403, 201, 403, 201)),
    "send empties back": ActCase(
        "returnEmpties", "empties-returns", an_empties_return, (401, 201, 403, 403, 403, 403, 201)
    ),
}
RECOVERY_ACTS: dict[str, ActCase] = {
    "look at a drift": ActCase(
        "lookAtDrift",
        "recovery-drifts/{drift}/look",
        a_finding,
        (401, 200, 403, 200, 403, 200, 200),
        names=a_drift,
    ),
    "core mass": ActCase("setCoreMass", "core-masses", a_core_mass, (401, 201, 403, 201, 201, 403, 201)),
    "whose core": ActCase("setScrapTerms", "scrap-terms", scrap_terms, (401, 201, 403, 201, 201, 403, 201)),
    "gather core": ActCase("gatherCore", "scrap-parts", a_part, OWN),
    "gather another's core": ActCase(
        "gatherCore",
        "scrap-parts",
        lambda office: a_part(office, job="J-south"),
        (401, 201, 400, 403, 403, 403, 201),
    ),
    "weigh core": ActCase(
        "weighScrapLot",
        "scrap-lots/{lot}/weighing",
        a_weighing,
        (401, 200, 403, 403, 403, 403, 200),
        names=gathered,
    ),
    "sell core": ActCase(
        "sellScrapLot",
        "scrap-lots/{lot}/sale",
        a_sale,
        (401, 200, 403, 403, 200, 403, 200),
        names=weighed,
    ),
    "company rules": ActCase(
        "setCompanyRules", "company-rules", company_rules, (401, 403, 403, 403, 403, 200, 200), method="put"
    ),
    "fitting limits": ActCase(
        "setFittingLimits",
        "fitting-limits",
        fitting_limits,
        (401, 403, 403, 403, 403, 200, 403),
        method="put",
    ),
}


def a_cable_size(_office: Office, **fields: Any) -> Json:
    lengths = {"outside_diameter": "0.5", "wall": "0.024", "nominal_bore": "0.452", "measured_bore": "0.45"}
    shown = {name: {"value": value, "unit": "[in_i]"} for name, value in lengths.items()}
    return {**shown, "confidence": "sound", **fields}


def _settings(current: Callable[[], Json], **changes: Any) -> Callable[[Office], Json]:
    """The settings as they stand with a change."""
    return lambda _office: {**current(), **changes}


PLANNERS_ONLY, SAFETYS_ONLY = (401, 403, 403, 200, 403, 403, 200), (401, 403, 403, 403, 403, 200, 403)
SETTINGS_ACTS: dict[str, ActCase] = {
    "kits": ActCase(
        "setKitPolicy",
        "kit-policy",
        _settings(settings_acts.get_kit_policy_body, seals_per_run=3),
        PLANNERS_ONLY,
        method="put",
    ),
    "lifting": ActCase(
        "setKitPolicy",
        "kit-policy",
        _settings(settings_acts.get_kit_policy_body, lifting_limit={"value": "20", "unit": "kg"}),
        SAFETYS_ONLY,
        method="put",
    ),
    "estimates": ActCase(
        "setEstimatingPolicy",
        "estimating-policy",
        _settings(settings_acts.get_estimating_policy_body, quantile=0.95),
        PLANNERS_ONLY,
        method="put",
    ),
    "own cautions": ActCase(
        "setEstimatingPolicy",
        "estimating-policy",
        _settings(settings_acts.get_estimating_policy_body, cautions=["Mind the gate."]),
        SAFETYS_ONLY,
        method="put",
    ),
    "cable size": ActCase(
        "saveCableSize",
        "cable-sizes/{designation}",
        a_cable_size,
        PLANNERS_ONLY,
        lambda _office: {"designation": ".500"},
        method="put",
    ),
    "check lists": ActCase(
        "setCheckLists",
        "check-list",
        _settings(settings_acts.get_check_lists_body),
        (401, 403, 403, 200, 403, 200, 200),
        method="put",
    ),
}
BUYERS = (401, 201, 403, 403, 403, 403, 201)
SUPPLY_ACTS: dict[str, ActCase] = {
    "supplier": ActCase("setSupplier", "suppliers", a_supplier, BUYERS),
    "terms": ActCase("setSupplyTerms", "supply-terms", some_terms, BUYERS),
    "credit": ActCase(
        "noteSupplierCredit",
        "expected-credits/{outcome}/credit",
        a_credit,
        (401, 403, 403, 403, 201, 403, 201),
        names=sent_back,
    ),
}
ACTS: dict[str, ActCase] = {
    **SUPPLY_ACTS,
    **FLUID_ACTS,
    **QUARANTINE_ACTS,
    **WASTE_ACTS,
    **RECOVERY_ACTS,
    **SETTINGS_ACTS,
}
