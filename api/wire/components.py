"""Every component of the published schema, gathered from the modules that write and read them."""

from api.wire import field_reports, report_answers, schemas, truck_requests
from api.wire.schemas import Schema


def all_components() -> dict[str, Schema]:
    """Every component, by its name."""
    return {
        **schemas.own_components(),
        **report_answers.COMPONENTS,
        **field_reports.request_schemas(),
        **truck_requests.request_schemas(),
    }
