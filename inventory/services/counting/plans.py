"""How a warehouse is counted: its classes and their rules."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import CountPlan, CountRule, Place
from inventory.services.documents import StaleVersion
from inventory.services.lines import require_kind
from inventory.units import MILLION

LETTERS = "ABCDEFGHIJ"
MOST_COUNTS_PER_YEAR = 366
LONGEST_LOOK_BACK_DAYS = 3650


class CountPlanChanged(StaleVersion):
    """The count plan was changed since it was read: read it again and decide anew."""

    code = "count_plan_changed"


@dataclass(frozen=True)
class ClassRule:
    """Up to which share of a year's value a class reaches, how often it is counted, and its limits.

    Shares in millionths, value in millionths of the currency.
    """

    upto_share: int
    counts_per_year: int
    limit_share: int
    limit_value: int = 0


# Monthly, quarterly and yearly within 1, 2 and 5 %: a start for whoever has no plan yet (common practice, no
# source for the numbers).
USUAL_RULES = (
    ClassRule(800_000, 12, 10_000),
    ClassRule(950_000, 4, 20_000),
    ClassRule(MILLION, 1, 50_000),
)


@transaction.atomic
def save_count_plan(
    *,
    place: Place,
    rules: Sequence[ClassRule] = USUAL_RULES,
    days_of_use: int = 365,
    version: int | None = None,
) -> CountPlan:
    """Set how a warehouse is counted, all of it at once; the first rule is that of the dearest class.

    `version` is the one that a change was decided on; it is not needed for the first plan.
    """
    require_kind(place, {Place.Kind.WAREHOUSE}, pointer="/place")
    faults = _faults(rules, days_of_use)
    if faults:
        raise BadInput.of(faults)
    standing = CountPlan.objects.select_for_update().filter(place=place).first()
    if standing is not None and version is not None and version != standing.version:
        raise CountPlanChanged(f"The count plan of {place} was changed since you read it. Read it again.")
    plan = standing or CountPlan(place=place, version=0)
    plan.days_of_use, plan.version = days_of_use, plan.version + 1
    plan.save()
    plan.rules.all().delete()
    CountRule.objects.bulk_create(
        CountRule(plan=plan, letter=letter, **vars(rule))
        for letter, rule in zip(LETTERS, rules, strict=False)
    )
    return plan


def _faults(rules: Sequence[ClassRule], days_of_use: int) -> list[Fault]:
    if not 1 <= len(rules) <= len(LETTERS):
        return [Fault("/rules", str(len(rules)), f"must be 1 to {len(LETTERS)} classes")]
    faults = []
    if not 1 <= days_of_use <= LONGEST_LOOK_BACK_DAYS:
        message = f"must be 1 to {LONGEST_LOOK_BACK_DAYS} days"
        faults.append(Fault("/days_of_use", str(days_of_use), message))
    for number, rule in enumerate(rules):
        if not 0 <= rule.counts_per_year <= MOST_COUNTS_PER_YEAR:
            message = f"must be 0 to {MOST_COUNTS_PER_YEAR}; 0 counts it only when asked"
            faults.append(Fault(f"/rules/{number}/counts_per_year", str(rule.counts_per_year), message))
        if not 0 <= rule.limit_share <= MILLION:
            faults.append(Fault(f"/rules/{number}/limit_share", str(rule.limit_share), "must be 0 to 1"))
        if rule.limit_value < 0:
            message = "cannot be less than nothing"
            faults.append(Fault(f"/rules/{number}/limit_value", str(rule.limit_value), message))
    for number, (before, after) in enumerate(pairwise(rules), start=1):
        if after.upto_share <= before.upto_share:
            message = "must be above that of the class before it"
            faults.append(Fault(f"/rules/{number}/upto_share", str(after.upto_share), message))
    if rules[0].upto_share <= 0:
        faults.append(Fault("/rules/0/upto_share", str(rules[0].upto_share), "must be above 0"))
    if rules[-1].upto_share != MILLION:
        message = "must be 1: the last class takes all that is left"
        faults.append(Fault(f"/rules/{len(rules) - 1}/upto_share", str(rules[-1].upto_share), message))
    return faults
