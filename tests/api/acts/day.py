"""Acts of a crew's day: reports, trucks and instruments, with what they answer to every role."""

from typing import Any
from uuid import uuid4

from inventory.models import Container, Place
from jobs.services.reports.content import ReadingContent, ReportContent
from jobs.services.reports.reporting import post_report
from jobs.services.trucks import hand_over
from tests.api.acts.case import AT, OWN, ActCase, Json, gallons, head
from tests.factories.accounts import Office
from tests.factories.instruments import make_instrument
from tests.factories.inventory import at
from tests.factories.jobs import DAY


def a_field_report(office: Office, crew: str = "north", **fields: Any) -> Json:
    return {
        **head(),
        "crew": crew,
        "date": "2026-03-02",
        "readings": [
            {"container": f"D-{crew}", "method": "dipped", "value": 35, "unit": "[gal_us]"},
        ],
        **fields,
    }


def a_foreign_report(office: Office) -> Json:
    return a_field_report(office, "south")


def a_correction(office: Office) -> Json:
    return {**head(), "note": "the drum was not read"}


def posted_report(office: Office, crew: str = "north") -> Json:
    """The name of a report that stands."""
    report = post_report(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(9),
        crew_code=crew,
        date=DAY,
        content=ReportContent(readings=(ReadingContent(f"D-{crew}", "empty"),)),
    )
    return {"corrects": str(report.uuid)}


def a_hand_over(_office: Office) -> Json:
    containers = [{"container": "D-north"}]
    return {**head(), "source": "truck-north", "target": "truck-south", "containers": containers}


def given_over(office: Office) -> Json:
    """The name of a hand-over from the north truck to the south one."""
    drum = Container.objects.select_related("place").get(label="D-north")
    given = hand_over(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(9),
        source=office.crew.vehicle,
        target=office.foreign_crew.vehicle,
        lines=[],
        containers=[drum],
    )
    return {"id": str(given.uuid)}


def a_purchase(_office: Office) -> Json:
    cost = {"value": "61.50", "currency": "USD"}
    line = {"material": "fluid", "amount": gallons("5"), "cost": cost}
    ends = {"supplier": "supplier-1", "vehicle": "truck-north"}
    return {**head(), **ends, "ticket_number": "T-77", "lines": [line]}


def another_vehicle(_office: Office) -> Json:
    Place.objects.create(code="truck-spare", name="Spare truck", kind=Place.Kind.VEHICLE)
    return {**head(), "vehicle": "truck-spare"}


REPORT_ACTS: dict[str, ActCase] = {
    "report": ActCase("postFieldReport", "field-reports", a_field_report, OWN, result="id"),
    "report another's day": ActCase(
        "postFieldReport", "field-reports", a_foreign_report, (401, 201, 404, 403, 403, 403, 201)
    ),
    "correct": ActCase(
        "correctFieldReport",
        "field-reports/{corrects}/correction",
        a_correction,
        OWN,
        names=lambda office: posted_report(office),
        result="id",
    ),
    "correct another's": ActCase(
        "correctFieldReport",
        "field-reports/{corrects}/correction",
        a_correction,
        (401, 201, 404, 403, 403, 403, 201),
        names=lambda office: posted_report(office, "south"),
    ),
}
TRUCK_ACTS: dict[str, ActCase] = {
    "hand over": ActCase("handOver", "hand-overs", a_hand_over, OWN, result="id isConfirmed"),
    "answer for what came": ActCase(
        "answerHandOver",
        "hand-overs/{id}/answer",
        lambda _office: {"occurred_at": AT, "is_confirmed": True},
        (401, 200, 403, 403, 403, 403, 200),
        names=given_over,
        result="isConfirmed",
    ),
    "buy": ActCase("buyAtCounter", "purchases", a_purchase, OWN, result="ticketNumber"),
    "go on with another vehicle": ActCase(
        "moveAllToVehicle",
        "crew-days/{crew}/{date}/vehicle",
        another_vehicle,
        (401, 200, 200, 403, 403, 403, 200),
        names=lambda _office: {"crew": "north", "date": "2026-03-02"},
        result="vehicle",
    ),
}
KEPT = (401, 200, 403, 403, 403, 200, 200)
INSTRUMENT_ACTS: dict[str, ActCase] = {
    "keep an instrument": ActCase(
        "saveInstrument",
        "instruments/{tag}",
        lambda _office: {"kind": "meter", "unit": "[gal_us]", "resolution": 0.5},
        KEPT,
        names=lambda _office: {"tag": make_instrument().tag},
        method="put",
        result="instrument { tag resolution } version",
    ),
    "check an instrument": ActCase(
        "recordInstrumentCheck",
        "instruments/{tag}/checks",
        lambda _office: {"checked_date": "2026-03-02", "due_date": "2027-03-02", "drift_fraction": 0.004},
        (401, 201, 403, 403, 403, 201, 201),
        names=lambda _office: {"tag": make_instrument().tag},
        result="checkedDate",
    ),
}
DAY_ACTS: dict[str, ActCase] = {**REPORT_ACTS, **TRUCK_ACTS, **INSTRUMENT_ACTS}
