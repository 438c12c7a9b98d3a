"""What things cost: sheets, periods, journal, bills."""

from uuid import uuid4

from tests.api.rest.furnished import (
    ACCOUNTS,
    DAY,
    a_bill,
    a_change_of_value,
    a_limit,
    a_write_off,
)
from tests.api.rest.operations.rows import (
    ACCOUNTS_CHANGE,
    ACCOUNTS_MAKE,
    NOT_FOR_CREWS,
    SEES_MONEY,
    Operation,
    post,
    put,
    read,
)

OPERATIONS: list[Operation] = [
    *(
        read(f"jobs/{job}/{part}", SEES_MONEY)
        for job in ("J-north", "J-south")
        for part in (
            "cost-sheet",
            "cost-sheet/file.csv",
            "cost-sheet/picture",
            "cost-sheet/entries?material=fluid&owner=own",
            "issued-sheets",
        )
    ),
    read("jobs/J-north/issued-sheets/1", SEES_MONEY),
    read("jobs/J-north/issued-sheets/1/file.pdf", SEES_MONEY),
    read("accounting-periods", SEES_MONEY),
    read(f"accounting-periods/check-list?last_date={DAY}", SEES_MONEY),
    read(f"accounting-periods/{DAY}/job-costs", (401, 404, 403, 404, 404, 403, 404)),
    read("period-closings", SEES_MONEY),
    read("period-closings/00000000-0000-4000-8000-000000000000", (401, 404, 403, 404, 404, 403, 404)),
    read("second-words"),
    read("accounts", SEES_MONEY),
    read("write-off-limit", SEES_MONEY),
    read("journal-batches", SEES_MONEY),
    read("journal-batches/1", SEES_MONEY),
    read("journal-batches/1/file.csv", SEES_MONEY),
    read("invoices", SEES_MONEY),
    read(f"unbilled-receipts?until={DAY}", SEES_MONEY),
    read(f"stock-at?date={DAY}", SEES_MONEY),
    read(f"account-ties?until={DAY}", SEES_MONEY),
    read(f"stock-ages?date={DAY}", SEES_MONEY),
    read(f"roll-forward?last_date={DAY}", SEES_MONEY),
    read("claims", SEES_MONEY),
    read("jobs/J-north/core-scrap"),
    read("jobs/J-south/core-scrap", NOT_FOR_CREWS),
    post("jobs/J-north/issued-sheets", ACCOUNTS_MAKE, {"id": str(uuid4())}),
    post(
        "accounting-periods",
        (401, 403, 403, 403, 202, 403, 202),
        {"id": str(uuid4()), "last_date": DAY, "remark": "x"},
    ),
    post("second-words", (401, 201, 403, 403, 403, 403, 201), a_write_off()),
    post("second-words", ACCOUNTS_MAKE, a_limit()),
    post("second-words", ACCOUNTS_MAKE, a_change_of_value()),
    post("second-words/{word}/decision", ACCOUNTS_CHANGE, {"is_granted": False, "note": "no"}),
    put("accounts", ACCOUNTS_CHANGE, ACCOUNTS),
    put("materials/pin-500/cost-formula", ACCOUNTS_CHANGE, {"cost_formula": "weighted_average"}),
    put("write-off-limit", ACCOUNTS_CHANGE, {"limit": None}),
    post("journal-batches", ACCOUNTS_MAKE, {"booked_until": DAY}),
    post("journal-batches/1/answer", ACCOUNTS_CHANGE, {"is_accepted": True}),
    post("journal-batches/1/remaking", (401, 403, 403, 403, 409, 403, 409)),
    post("invoices", ACCOUNTS_MAKE, lambda furnished: a_bill(furnished.names["unbilled"], "B-2")),
    post("invoices/{bill}/undoing", ACCOUNTS_CHANGE, {"reason": "wrong"}),
]
