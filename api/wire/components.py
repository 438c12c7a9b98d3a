"""Every component of the published schema, gathered from the modules that write and read them."""

from api.wire import (
    accounting_answers,
    accounting_requests,
    balances,
    cost_sheets,
    field_reports,
    fluid_acts,
    fluid_answers,
    instruments,
    kit_requests,
    kits,
    period_answers,
    quarantines,
    report_answers,
    restock_answers,
    restock_requests,
    safety,
    schemas,
    sign_in,
    supply_answers,
    supply_requests,
    truck_requests,
)
from api.wire.acts import request_schemas
from api.wire.schemas import Schema


def all_components() -> dict[str, Schema]:
    """Every component, by its name."""
    return {
        **schemas.own_components(),
        **accounting_answers.COMPONENTS,
        **accounting_requests.request_schemas(),
        **cost_sheets.COMPONENTS,
        **period_answers.COMPONENTS,
        **report_answers.COMPONENTS,
        **field_reports.request_schemas(),
        **restock_answers.COMPONENTS,
        **restock_requests.request_schemas(),
        **truck_requests.request_schemas(),
        **balances.COMPONENTS,
        **instruments.COMPONENTS,
        **kits.COMPONENTS,
        **kit_requests.request_schemas(),
        **instruments.request_schemas(),
        **supply_answers.COMPONENTS,
        **supply_requests.request_schemas(),
        **safety.COMPONENTS,
        **safety.request_schemas(),
        **sign_in.COMPONENTS,
        **sign_in.request_schemas(),
        **fluid_answers.COMPONENTS,
        **request_schemas(fluid_acts.ACTS),
        **quarantines.COMPONENTS,
        **request_schemas(quarantines.ACTS),
    }
