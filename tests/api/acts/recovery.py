"""Acts on recovery, on the core that came out and on the company's rules."""

from typing import Any
from uuid import uuid4

from inventory.units import parse_amount
from jobs.models import RecoveryDrift
from jobs.services.core_scrap import add_to_lot, set_scrap_terms, weigh_lot
from tests.api.acts.case import AT, OWN, ActCase, Json, dollars, head
from tests.factories.accounts import Office
from tests.factories.inventory import at


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
