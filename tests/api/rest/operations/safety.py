"""Rules, limits, fluids, waste, recovery and what is held back."""

from tests.api.rest import supply_requests
from tests.api.rest.furnished import (
    AT,
    a_fitting,
    an_incident,
)
from tests.api.rest.operations.rows import (
    EVERYBODY,
    KEEPERS_MAKE,
    NOT_FOR_CREWS,
    SAFETY_CHANGES,
    SEES_MONEY,
    SIGNED_IN,
    SUMS_ALL_WORK,
    WHEN,
    Operation,
    post,
    read,
)

TOLD = {"at": AT, "who": "Fire service", "how": "telephone"}
LIFT = {**WHEN, "reason": "all accounted for"}
PSI = {"value": "90", "unit": "[psi]"}
LIMIT = supply_requests.made(purpose="extraction", pressure=PSI, weakest_part="hose")


OPERATIONS: list[Operation] = [
    read("fitting-limits"),
    read("rules", EVERYBODY),
    read("pressure-limits"),
    read("findings"),
    read("findings/{finding}"),
    read("findings/{foreign finding}", NOT_FOR_CREWS),
    read("incidents"),
    read("incidents/{incident}"),
    read("incidents/{foreign incident}", NOT_FOR_CREWS),
    read("incidents/{incident}/told"),
    read("incidents/{incident}/closing"),
    read("tagged-fittings"),
    read("tagged-fittings/PF-1"),
    read("tagged-fittings/PF-2", NOT_FOR_CREWS),
    read("tagged-fittings/PF-1/approval"),
    read("tagged-fittings/PF-1/withdrawal"),
    read("recovered-fluid"),
    read("fluid-tests"),
    read("fluid-tests/00000000-0000-4000-8000-000000000000", (401, 404, 404, 404, 404, 404, 404)),
    read("fluid-limits"),
    read("fluid-policies"),
    read("fluid-releases"),
    read("quarantines"),
    read("quarantines/{quarantine}"),
    read("quarantines/{foreign quarantine}", NOT_FOR_CREWS),
    read("scrap-lots", SUMS_ALL_WORK),
    read("scrap-lots/none", (401, 404, 403, 404, 404, 404, 404)),
    read("scrap-terms"),
    read("core-masses"),
    read("recovery-rates", SUMS_ALL_WORK),
    read("recovery-rates/picture", SUMS_ALL_WORK),
    read("recovery-drifts", SUMS_ALL_WORK),
    read("waste-manifests"),
    read("waste-drums"),
    read("deposits", SEES_MONEY),
    read("deposit-terms", SEES_MONEY),
    read("deposit-balances", SEES_MONEY),
    read("empties", SEES_MONEY),
    read("company-rules"),
    read("fitting-limits"),
    read("safety-notices", SUMS_ALL_WORK),
    post("pressure-limits", (401, 403, 403, 403, 403, 201, 403), LIMIT),
    post(
        "pressure-limits/withdrawal",
        (401, 403, 403, 403, 403, 404, 403),
        {**WHEN, "purpose": "extraction"},
    ),
    post("findings/{finding}/lift", SAFETY_CHANGES, LIFT),
    post("findings/{foreign finding}/lift", (401, 403, 404, 403, 403, 200, 403), LIFT),
    # Whoever sees an accident tells of it.
    post("incidents", (401, 201, 201, 201, 201, 201, 201), an_incident()),
    post("incidents", (401, 201, 400, 201, 201, 201, 201), an_incident("south")),
    post("incidents/{incident}/told", SIGNED_IN, TOLD),
    post("incidents/{foreign incident}/told", NOT_FOR_CREWS, TOLD),
    post("incidents/{incident}/closing", SAFETY_CHANGES, {**WHEN, "note": "done"}),
    post("tagged-fittings", KEEPERS_MAKE, a_fitting("PF-3")),
    post(
        "tagged-fittings/PF-1/inspections",
        (401, 201, 201, 403, 403, 201, 201),
        supply_requests.made(is_passed=True),
    ),
    post(
        "tagged-fittings/PF-2/inspections",
        (401, 201, 404, 403, 403, 201, 201),
        supply_requests.made(is_passed=True),
    ),
    post("tagged-fittings/PF-1/approval", SAFETY_CHANGES, {"pressure": PSI}),
    post(
        "tagged-fittings/PF-1/withdrawal",
        (401, 200, 403, 403, 403, 200, 200),
        {**WHEN, "reason": "worn"},
    ),
]
