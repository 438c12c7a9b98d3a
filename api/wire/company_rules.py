"""Limits that the company sets for itself: of unaccounted fluid, reports, marks and tagged fittings."""

from api.wire.acts import Act, Asker, Json
from api.wire.amounts import quantity_json
from api.wire.calculations.fields import (
    Limits,
    Number,
    Record,
    Schema,
    Whole,
    closed_fraction,
    not_negative,
)
from api.wire.input_fields import AmountField, ClockField, MomentField
from api.wire.schemas import NUMBER, TEXT, WHOLE, listing, nullable, of, shape
from api.wire.versions import etag_of_content
from inventory.models import TaggedFittingPolicy
from inventory.queries.tagged_fittings import get_tagged_fitting_policy
from inventory.services.tagged_fittings import set_fitting_limits
from inventory.units import MILLION, convert
from jobs.models import CompanyRules
from jobs.queries import fluid_access as access
from jobs.queries.company_rules import get_company_rules
from jobs.services.company_rules import set_company_rules
from jobs.services.safety.roles import require_safety

NO_UNACCOUNTED_LIMIT = "No limit of unaccounted fluid is set: safety is never told of any."
NO_CUT_OFF = "No cut-off is set: no loaded kit without report is flagged."
NO_USES = "No limit of uses approved for tagged fittings."
NO_AGE = "No limit of age approved for tagged fittings."
COMPONENTS: dict[str, Schema] = {
    "CompanyRules": shape(
        unaccounted_limit=nullable(of("Quantity")),
        unaccounted_limit_share=nullable(NUMBER),
        report_cut_off_time=nullable(TEXT),
        recovered_coverage_factor=NUMBER,
        mark_tolerance_fraction=NUMBER,
        remarks=listing(TEXT),
        version=TEXT,
    ),
    "FittingLimits": shape(
        most_uses=nullable(WHOLE),
        longest_age_days=nullable(WHOLE),
        inspection_holds_days=WHOLE,
        remarks=listing(TEXT),
        version=TEXT,
    ),
}


def company_rules_json(row: CompanyRules) -> Json:
    limit, cut_off = row.unaccounted_limit_l, row.report_cut_off_time
    has_limit = limit is not None or row.unaccounted_limit_share is not None
    remarks = [] if has_limit else [NO_UNACCOUNTED_LIMIT]
    return {
        "unaccounted_limit": quantity_json(round(limit * MILLION), "L") if limit is not None else None,
        "unaccounted_limit_share": row.unaccounted_limit_share,
        "report_cut_off_time": f"{cut_off:%H:%M}" if cut_off is not None else None,
        "recovered_coverage_factor": row.recovered_coverage_factor,
        "mark_tolerance_fraction": row.mark_tolerance_fraction,
        "remarks": remarks if cut_off is not None else [*remarks, NO_CUT_OFF],
    }


def fitting_limits_json(row: TaggedFittingPolicy) -> Json:
    remarks = [NO_USES] if row.most_uses is None else []
    return {
        "most_uses": row.most_uses,
        "longest_age_days": row.longest_age_days,
        "inspection_holds_days": row.inspection_holds_days,
        "remarks": [*remarks, NO_AGE] if row.longest_age_days is None else remarks,
    }


def with_version(body: Json) -> Json:
    """The same with its version, which a change of it names."""
    return {**body, "version": etag_of_content(body)}


def current_rules() -> Json:
    return company_rules_json(get_company_rules())


def current_fitting_limits() -> Json:
    return fitting_limits_json(get_tagged_fitting_policy())


def _set_rules(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.SETS_RULES, "set the company's limits")
    limit = values.pop("unaccounted_limit")
    litres = float(convert(limit.value, limit.unit, "L")) if limit is not None else None
    rules = set_company_rules(by=asker.by, unaccounted_limit_l=litres, **values)
    return with_version(company_rules_json(rules))


def _set_fitting_limits(values: Json, asker: Asker) -> Json:
    require_safety(asker.viewer.role)
    return with_version(fitting_limits_json(set_fitting_limits(**values)))


SET_RULES = Act(
    name="set_company_rules",
    summary="Set all of the company's limits, by safety or admin; null sets none.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "unaccounted_limit": AmountField(dimension="volume", may_be_null=True),
            "unaccounted_limit_share": Number(limits=closed_fraction(), may_be_null=True),
            "report_cut_off_time": ClockField(may_be_null=True),
            "recovered_coverage_factor": Number(limits=not_negative()),
            "mark_tolerance_fraction": Number(limits=closed_fraction()),
        }
    ),
    request="CompanyRulesRequest",
    answer="CompanyRules",
    do=_set_rules,
    status=200,
    current=current_rules,
)
SET_FITTING_LIMITS = Act(
    name="set_fitting_limits",
    summary="Set up to how many uses and days tagged fittings are used, by safety; null sets no limit.",
    record=Record(
        fields={
            "most_uses": Whole(limits=Limits(least=1, most=1_000_000), may_be_null=True),
            "longest_age_days": Whole(limits=Limits(least=1, most=100_000), may_be_null=True),
            "inspection_holds_days": Whole(limits=Limits(least=0, most=10_000)),
        }
    ),
    request="FittingLimitsRequest",
    answer="FittingLimits",
    do=_set_fitting_limits,
    status=200,
    current=current_fitting_limits,
)
ACTS = (SET_RULES, SET_FITTING_LIMITS)
