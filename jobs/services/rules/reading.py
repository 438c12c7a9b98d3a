"""What the rules have to know beside a report itself: read in one message, behind the report's own rows."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import hypot
from typing import Any, NamedTuple

from inventory.services.posting.rows import Select, one_of
from jobs.models import CompanyRules, ContainerReading
from jobs.queries.projectiles import Accounted, ToldCleaning
from jobs.queries.safety import PROJECTILE_STOPS
from jobs.services.reports.rows import Told

WATCHED = ("attempts", "cleanings", "blowings", "caught", "losses", "gaps")
_NOTHING = Select("SELECT 1 WHERE FALSE", ())
_CATCH_TABLE, _PAIR_TABLE = "jobs_fluidcaught", "jobs_fluidcaught_spans"


class ToldAttempt(NamedTuple):
    """What a try on a span says of fluid; `unit` is empty where it names no fluid."""

    key: int
    crew_day_id: int
    run_id: int
    injected: int | None
    uncertainty: float | None
    meter_id: int | None
    unit: str | None


class ToldCatch(NamedTuple):
    """What came back into a container; `span_runs` are the runs of the spans it names."""

    key: int
    crew_day_id: int
    report_id: int
    kind: str
    container_id: int
    run_id: int | None
    amount: int | None
    uncertainty: float | None
    unit: str
    span_runs: frozenset[int]


@dataclass(frozen=True)
class Record:
    """What stands in the tables about the work that a report is about, its own rows included.

    `cleanings` are what was fired, came out and stuck where, by run and in order; `accounted` what safety has
    accounted for, by run; `clean_runs` are those that had been cleaned when the report's work was done.
    """

    company: CompanyRules
    limits_kpa: dict[str, float] = field(default_factory=dict)
    cleanings: dict[int, list[ToldCleaning]] = field(default_factory=dict)
    accounted: dict[int, list[Accounted]] = field(default_factory=dict)
    clean_runs: frozenset[int] = frozenset()
    attempts: Sequence[ToldAttempt] = ()
    catches: Sequence[ToldCatch] = ()
    readings: Sequence[tuple[int, int, str, int, float, int | None]] = ()
    has_open_findings: bool = False


def is_watched(told: Told) -> bool:
    """Whether a report tells of anything that a rule looks at."""
    return any(getattr(told, part) for part in WATCHED)


def select_record(told: Told, corrected: Told | None) -> list[Select]:
    """What to read of a report, or of the one it corrects, for `make_record`."""
    if not is_watched(told) and corrected is None:
        return []
    # What hangs on the counts of the runs that a corrected report named is counted anew.
    cleaned = [*told.cleanings, *(corrected.cleanings if corrected is not None else ())]
    runs = sorted({row.run_id for row in cleaned})
    swept = sorted({row.run_id for row in told.caught if row.run_id is not None})
    blown = sorted({row.run_id for row in told.blowings})
    met = sorted({*runs, *swept, *_other_runs(told)})
    day = told.report.crew_day_id
    return [
        select_company_rules(),
        select_limits(told.report.occurred_at),
        _select_cleanings(runs) if runs else _NOTHING,
        _select_accounted(runs) if runs else _NOTHING,
        _select_clean_runs(blown, told.report.occurred_at) if blown else _NOTHING,
        _select_attempts(day, swept) if told.caught else _NOTHING,
        _select_catches(day, swept) if told.caught else _NOTHING,
        _select_readings(day, swept) if told.caught else _NOTHING,
        _select_open_findings(day, met),
    ]


def make_record(answers: Sequence[Sequence[tuple[Any, ...]]]) -> Record:
    """The record, of the answers to `select_record`; without any, what holds for every company."""
    if not answers:
        return Record(CompanyRules(pk=1))
    rules, limits, cleanings, accounted, clean, attempts, catches, readings, [(has_open,)] = answers
    return Record(
        company=make_company_rules(rules),
        limits_kpa=dict(limits),
        cleanings=_make_cleanings(cleanings),
        accounted=_make_accounted(accounted),
        clean_runs=frozenset(run for (run,) in clean),
        attempts=[ToldAttempt(*row) for row in attempts],
        catches=_make_catches(catches),
        readings=readings,
        has_open_findings=bool(has_open),
    )


def select_company_rules() -> Select:
    columns = "recovered_coverage_factor, mark_tolerance_fraction"
    return Select(f"SELECT {columns} FROM jobs_companyrules LIMIT 1", ())


def make_company_rules(rows: Sequence[tuple[Any, ...]]) -> CompanyRules:
    """The company's limits that rules compare with, or the defaults where nobody has set any."""
    if not rows:
        return CompanyRules(pk=1)
    return CompanyRules(pk=1, recovered_coverage_factor=rows[0][0], mark_tolerance_fraction=rows[0][1])


def select_limits(moment: datetime) -> Select:
    """The pressures that were approved at a moment, by purpose: a late report meets those of its own day."""
    return Select(
        "SELECT purpose, limit_kpa FROM jobs_pressurelimit WHERE approved_at <= %s"
        " AND (withdrawn_at IS NULL OR withdrawn_at > %s) ORDER BY approved_at, id",
        [moment, moment],
    )


def _other_runs(told: Told) -> Iterable[int]:
    yield from (row.run_id for row in told.blowings)
    yield from (row.run_id for row in told.losses if row.run_id is not None)


def _select_cleanings(runs: list[int]) -> Select:
    return Select(
        "SELECT cleaning.run_id, report.occurred_at, fired, retrieved, stuck_at_um, is_clean,"
        " report.crew_day_id, report.device, report.by_id"
        " FROM jobs_runcleaning cleaning JOIN jobs_fieldreport report ON report.id = cleaning.report_id"
        f" WHERE cleaning.run_id IN {one_of(runs)} AND NOT report.is_undone"
        " ORDER BY report.occurred_at, report.id, cleaning.position",
        runs,
    )


def _make_cleanings(rows: Iterable[tuple[Any, ...]]) -> dict[int, list[ToldCleaning]]:
    """By run, of the answer to `_select_cleanings`."""
    found: dict[int, list[ToldCleaning]] = {}
    for run, *told, device, by in rows:
        found.setdefault(run, []).append(ToldCleaning._make((*told, (device, by))))
    return found


def _select_accounted(runs: list[int]) -> Select:
    return Select(
        "SELECT run_id, lifted_at, facts FROM jobs_rulefinding"
        f" WHERE run_id IN {one_of(runs)} AND rule IN {one_of(PROJECTILE_STOPS)} AND lifted_at IS NOT NULL"
        " ORDER BY lifted_at, id",
        [*runs, *PROJECTILE_STOPS],
    )


def _make_accounted(rows: Iterable[tuple[Any, ...]]) -> dict[int, list[Accounted]]:
    """What safety accounted for when it lifted stops: by run, all that may have been inside then."""
    found: dict[int, list[Accounted]] = {}
    for run, moment, stored in rows:
        facts = json.loads(stored) if isinstance(stored, str) else stored
        found.setdefault(run, []).append(Accounted(moment, int(facts.get("inside_at_most", 0))))
    return found


def _select_clean_runs(runs: list[int], moment: datetime) -> Select:
    """Those that were clean at a moment: a cleaning that came after a blowing does not make it right."""
    return Select(
        f"SELECT id FROM jobs_run WHERE id IN {one_of(runs)}"
        " AND (was_cleaned_before_start OR cleaned_at <= %s)",
        [*runs, moment],
    )


def _select_attempts(day: int, runs: list[int]) -> Select:
    """Of the day and of the runs. A union, since a condition on either table would read both whole."""
    found = (
        "SELECT attempt.id, report.crew_day_id, span.run_id, attempt.injected, attempt.injected_uncertainty,"
        " attempt.meter_id, fluid.stock_unit FROM jobs_spanattempt attempt"
        " JOIN jobs_fieldreport report ON report.id = attempt.report_id"
        " JOIN jobs_span span ON span.id = attempt.span_id"
        " LEFT JOIN inventory_material fluid ON fluid.id = attempt.fluid_id WHERE NOT report.is_undone AND"
    )
    return Select(
        f"{found} report.crew_day_id = %s UNION {found} span.run_id IN {one_of(runs)} ORDER BY 1",
        [day, *runs],
    )


def _catches_of(day: int, runs: list[int]) -> tuple[str, list[Any]]:
    """The keys of standing catches of the day, swept out of the runs, or from spans of theirs."""
    found = (
        f"SELECT caught.id FROM {_CATCH_TABLE} caught JOIN jobs_fieldreport report"
        " ON report.id = caught.report_id"
    )
    sql = (
        f"{found} WHERE NOT report.is_undone AND report.crew_day_id = %s"
        f" UNION {found} WHERE NOT report.is_undone AND caught.run_id IN {one_of(runs)}"
        f" UNION {found} JOIN {_PAIR_TABLE} pair ON pair.fluidcaught_id = caught.id"
        " JOIN jobs_span span ON span.id = pair.span_id"
        f" WHERE NOT report.is_undone AND span.run_id IN {one_of(runs)}"
    )
    return sql, [day, *runs, *runs]


def _select_catches(day: int, runs: list[int]) -> Select:
    """A row for each span that a catch names, and one for a catch that names none."""
    keys, values = _catches_of(day, runs)
    return Select(
        "SELECT caught.id, report.crew_day_id, caught.report_id, caught.kind, caught.container_id,"
        " caught.run_id, caught.amount, caught.standard_uncertainty, material.stock_unit, span.run_id"
        f" FROM {_CATCH_TABLE} caught JOIN jobs_fieldreport report ON report.id = caught.report_id"
        " JOIN inventory_material material ON material.id = caught.material_id"
        f" LEFT JOIN {_PAIR_TABLE} pair ON pair.fluidcaught_id = caught.id"
        f" LEFT JOIN jobs_span span ON span.id = pair.span_id WHERE caught.id IN ({keys}) ORDER BY caught.id",
        values,
    )


def _make_catches(rows: Iterable[tuple[Any, ...]]) -> list[ToldCatch]:
    found: dict[int, Sequence[Any]] = {}
    runs: dict[int, set[int]] = {}
    for row in rows:
        found[row[0]] = row[:-1]
        runs.setdefault(row[0], set()).update(() if row[-1] is None else (row[-1],))
    return [ToldCatch._make((*row, frozenset(runs[key]))) for key, row in found.items()]


def _select_readings(day: int, runs: list[int]) -> Select:
    """Readings of the containers into which something came that nobody measured by itself."""
    keys, values = _catches_of(day, runs)
    return Select(
        "SELECT reading.report_id, reading.container_id, reading.moment, reading.amount,"
        " reading.standard_uncertainty, reading.instrument_id"
        f" FROM jobs_containerreading reading JOIN {_CATCH_TABLE} silent"
        " ON silent.report_id = reading.report_id AND silent.container_id = reading.container_id"
        f" WHERE silent.amount IS NULL AND silent.id IN ({keys})",
        values,
    )


class Growth(NamedTuple):
    """How much came into a container, how sure that is, and with which instrument it was read at the end."""

    amount: int
    uncertainty: float
    instrument_id: int | None


def find_growth(
    readings: Iterable[tuple[int, int, str, int, float, int | None]],
) -> dict[tuple[int, int], Growth]:
    """By report and container what was read at the end less what was at the start."""
    by_moment = {
        (report, box, moment): (amount, uncertainty, instrument)
        for report, box, moment, amount, uncertainty, instrument in readings
    }
    found = {}
    for (report, box, moment), (amount, uncertainty, instrument) in by_moment.items():
        start = by_moment.get((report, box, ContainerReading.Moment.START.value))
        if moment == ContainerReading.Moment.END and start is not None:
            found[report, box] = Growth(amount - start[0], hypot(start[1], uncertainty), instrument)
    return found


def _select_open_findings(day: int, runs: list[int]) -> Select:
    is_open = "lifted_at IS NULL AND settled_at IS NULL AND overtaken_at IS NULL"
    return Select(
        f"SELECT EXISTS (SELECT 1 FROM jobs_rulefinding WHERE crew_day_id = %s AND {is_open})"
        f" OR EXISTS (SELECT 1 FROM jobs_rulefinding WHERE run_id IN {one_of(runs)} AND {is_open})",
        [day, *runs],
    )
