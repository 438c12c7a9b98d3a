"""The demo's input files, taken by the same importers and services that a company's own files go through.

Every step may be repeated: what has been taken is known by its id or is the same again, so a run that was
ended half way goes on where it stopped, and a second run changes nothing.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from itertools import groupby
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction

from api.management.base import ReportProgress
from api.wire.entry_requests import make_entry
from api.wire.field_reports import read_report
from inventory.errors import SpanstockError
from inventory.models import Actor, Entry
from inventory.queries.access import Viewer
from inventory.queries.company import NotSetUp, get_company
from inventory.queries.recorded import find_recorded
from inventory.services.company import set_up_company
from inventory.services.parties import save_party
from inventory.services.places import save_stock_place
from inventory.services.recovery_policy import set_recovered_value_share
from inventory.services.sealing import record_event
from inventory.services.stock_sheet import import_stock
from jobs.models import CrewDay, Job
from jobs.queries.field_reports import find_reported
from jobs.queries.jobs import get_job
from jobs.queries.schedule import list_schedule
from jobs.services.crews import save_crew
from jobs.services.estimating import set_fluid
from jobs.services.job_life import JobOpening, change_state
from jobs.services.learning import refit_all
from jobs.services.reports.reporting import post_report
from jobs.services.schedule import import_schedule
from jobs.services.spans import import_spans
from jobs.services.work_done import settle_day

# Made once; the ids of the demo's stock imports are derived under it.
NAMESPACE = UUID("5b2b9f5e-93a5-5d5a-8f0a-0a2c7f4e9d11")
EVERYTHING = Viewer(places=None, own_places=None, postable=frozenset(Entry.Kind), may_see_money=True)
END_OF_WORK, NIGHT = time(17, 0), time(23, 0)
INPUT_SUFFIXES = (".csv", ".json", ".jsonl", ".xlsx")


class HoldsAnotherCompany(SpanstockError):
    """The database is somebody's own; the demo's goods do not belong in it."""

    code = "holds_another_company"


class MadeFromOtherFiles(SpanstockError):
    """The demo stands here already, but from files that were different then."""

    code = "made_from_other_files"


@dataclass(frozen=True)
class Scenario:
    """The input files and what `company.json` says about them."""

    folder: Path
    description: dict[str, Any]

    @classmethod
    def load(cls, folder: Path) -> "Scenario":
        return cls(folder, json.loads((folder / "company.json").read_text(encoding="utf-8")))

    @property
    def today(self) -> date:
        return date.fromisoformat(self.description["today"])

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.description["company"]["time_zone"])

    def path(self, name: str) -> Path:
        return self.folder / name

    def digest(self) -> str:
        """A hash over every input file, by name."""
        found = hashlib.sha256()
        for path in sorted(self.folder.iterdir()):
            if path.suffix in INPUT_SUFFIXES:
                found.update(f"{path.name}\0".encode() + path.read_bytes() + b"\0")
        return found.hexdigest()

    def at(self, day: date, hour: time = END_OF_WORK) -> datetime:
        return datetime.combine(day, hour, self.zone)


def replay(scenario: Scenario, *, by: Actor, report: ReportProgress) -> None:
    """Take every file in the order in which a company would: itself, its stock, its jobs, its days."""
    set_up(scenario, by=by)
    for sheet in scenario.description["stock"]:
        _take_stock(scenario, sheet, by, report)
    _set_up_work(scenario)
    for job in scenario.description["jobs"]:
        _take_job(scenario, job, by, report)
    _take_schedule(scenario, by, report)
    _post_history(scenario, by, report)
    _settle_days(scenario, by, report)
    _learn(scenario, report)
    _take_stock(scenario, scenario.description["stock_take"], by, report)


def refuse_another_company(scenario: Scenario, standing_code: str, standing_name: str) -> None:
    """Keep away from a database that holds a company of its own."""
    if standing_code != scenario.description["company"]["code"]:
        raise HoldsAnotherCompany(
            f"This installation belongs to {standing_name}, and the demo would mix its goods with theirs. "
            "Nothing was changed. Give the demo a data directory of its own; the README's table of "
            "environment variables says how."
        )


@transaction.atomic
def set_up(scenario: Scenario, *, by: Actor) -> None:
    """Make the company with its partners and places, where they are not there yet."""
    said = scenario.description
    company = set_up_company(**said["company"])
    refuse_another_company(scenario, company.party.code, company.party.name)
    _refuse_other_files(scenario, by)
    for row in said["suppliers"]:
        save_party(**row, is_supplier=True)
    for row in said["customers"]:
        save_party(**row, is_customer=True)
    for row in said["places"]:
        save_stock_place(**row)


def _refuse_other_files(scenario: Scenario, by: Actor) -> None:
    """What is recorded is not recorded anew: other files would give half of each of two stories."""
    digest = scenario.digest()
    begun = record_event(
        id=uuid5(NAMESPACE, "begun"),
        kind="demo_begun",
        occurred_at=scenario.at(scenario.today),
        body={"digest": digest, "by": by.code},
    )
    if begun.body["digest"] != digest:
        raise MadeFromOtherFiles(
            "The demo stands here already, made from files that have changed since. Nothing was changed. "
            "Remove the data directory, or give the demo another one, and run it again."
        )


def _take_stock(scenario: Scenario, sheet: dict[str, str], by: Actor, report: ReportProgress) -> None:
    import_stock(
        path=scenario.path(sheet["file"]),
        by=by,
        occurred_at=datetime.fromisoformat(sheet["at"]),
        document=sheet["document"],
        id=uuid5(NAMESPACE, sheet["file"]),
        report=_named(report, sheet["file"]),
    )
    report(sheet["file"], 1, 1)


def _set_up_work(scenario: Scenario) -> None:
    said = scenario.description["estimating"]
    for code, share in said["recovered_value_shares"].items():
        set_recovered_value_share(material_code=code, share=Decimal(share))
    set_fluid(material_code=said["fluid"])
    for crew in scenario.description["crews"]:
        save_crew(
            code=crew["code"],
            name=crew["name"],
            vehicle_code=crew["vehicle"],
            warehouse_code=crew["warehouse"],
        )


def _take_job(scenario: Scenario, job: dict[str, str], by: Actor, report: ReportProgress) -> None:
    began_at = datetime.fromisoformat(scenario.description["stock"][0]["at"])
    import_spans(
        path=scenario.path(job["spans"]),
        job_reference=job["reference"],
        by=by,
        occurred_at=began_at,
        opening=JobOpening(job["name"], job["customer"], job["fibre"], job["fibre_owner"]),
        report=_named(report, job["spans"]),
    )
    report(job["spans"], 1, 1)
    for before, after in ((Job.State.PLANNED, Job.State.APPROVED), (Job.State.APPROVED, Job.State.UNDER_WAY)):
        if get_job(job["reference"]).state == before:
            change_state(reference=job["reference"], state=after, by=by, occurred_at=began_at)


def _take_schedule(scenario: Scenario, by: Actor, report: ReportProgress) -> None:
    name = scenario.description["crew_days"]
    if not list_schedule(from_date=date.min):
        report(name, 0, 1)
        began_at = datetime.fromisoformat(scenario.description["stock"][0]["at"])
        import_schedule(path=scenario.path(name), by=by, occurred_at=began_at)
    report(name, 1, 1)


def _post_history(scenario: Scenario, by: Actor, report: ReportProgress) -> None:
    """Post each line as the REST door would; a day's lines share one transaction, so the disk waits once."""
    lines = list(_read_lines(scenario.path(scenario.description["history"])))
    ids = [UUID(line["id"]) for line in lines]
    recorded = find_recorded(ids) | find_reported(ids)
    done = 0
    for _day, group in groupby(lines, key=lambda line: line.get("occurred_at", "")[:10]):
        with transaction.atomic():
            for line in group:
                if UUID(line["id"]) not in recorded:
                    _post_line(line, by)
                done += 1
        report(scenario.description["history"], done, len(lines))


def _post_line(line: dict[str, Any], by: Actor) -> None:
    """An entry, or a field report with the head and the parts that its own address takes."""
    if line["kind"] != "field_report":
        make_entry(line, viewer=EVERYTHING, by=by)
        return
    head, content = read_report({name: value for name, value in line.items() if name != "kind"})
    post_report(
        id=head["id"],
        by=by,
        occurred_at=head["occurred_at"],
        crew_code=head["crew"],
        date=head["date"],
        content=content,
        device=head["device"],
    )


def _read_lines(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8") as file:
        for line in file:
            yield json.loads(line)


def _settle_days(scenario: Scenario, by: Actor, report: ReportProgress) -> None:
    days = list_schedule(from_date=date.min, to_date=scenario.today)
    waiting = [day for day in days if day.state != CrewDay.State.SETTLED]
    with transaction.atomic():
        for number, day in enumerate(waiting, start=1):
            settle_day(crew_code=day.crew_code, date=day.date, by=by, occurred_at=scenario.at(day.date))
            report("days done", number, len(waiting))


def _learn(scenario: Scenario, report: ReportProgress) -> None:
    """Learn from the reports as the nightly task does; what was learnt already is not stored again."""
    report("learning", 0, 1)
    refit_all(at=scenario.at(scenario.today, NIGHT))
    report("learning", 1, 1)


def _named(report: ReportProgress, name: str) -> ReportProgress:
    """One bar for a file, whatever steps its importer names."""
    return lambda _doing, done, total: report(name, done, max(total, done + 1))


def find_standing_company() -> tuple[str, str] | None:
    """Code and name of the company that is set up, if one is."""
    try:
        company = get_company()
    except NotSetUp:
        return None
    return company.party.code, company.party.name
