"""What the rules say to a report: findings and incidents, within the report's own transaction.

A rule never refuses a report. What it finds stands beside it, and what it stops is not planned on.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Q

from inventory.models import Company
from inventory.services.sealing import record_event
from inventory.services.tagged_fittings import hold_fitting, unrig_fittings
from jobs.models import FieldReport, RuleFinding
from jobs.queries.rules import Match, Rule, list_matches, rules_about, rules_by_code
from jobs.queries.safety import PROJECTILE_STOPS, open_findings
from jobs.services.needs import find_days_ahead, write_needs
from jobs.services.reports.content import ReportContent
from jobs.services.reports.names import Names
from jobs.services.reports.rows import Told
from jobs.services.rules.facts import Subject, list_subjects
from jobs.services.rules.fluid_facts import list_fluid_subjects
from jobs.services.rules.reading import Record, is_watched
from jobs.services.safety.freeing import free_what_was_stopped
from jobs.services.safety.incidents import open_incident_of_loss, open_told_incidents

SENTENCE_LENGTH = 500
Found = tuple[RuleFinding, Subject, Match]


def evaluate_report(
    told: Told,
    *,
    content: ReportContent,
    names: Names,
    company: Company,
    record: Record,
    corrected: Told | None = None,
) -> list[RuleFinding]:
    """Hold a report that has been kept and booked against the rules; what was found is stored and returned.
    `record` is what was read behind the report's rows.

    Findings of the report that this one corrects end where they only warned. A stop waits for safety,
    whatever is reported later, but one about projectiles ends by a whole count.
    """
    if corrected is not None:
        _overtake(corrected.report, told.report.occurred_at)
    if not content.incidents and not is_watched(told) and corrected is None:
        return []
    open_told_incidents(content, told=told, names=names)
    subjects = list_subjects(_with_work_of(told, corrected), record) + list_fluid_subjects(told, record)
    found: dict[UUID, Found] = {}
    for subject in subjects:
        for match in list_matches(subject.about, subject.facts, uses_metric=company.uses_metric):
            finding = _make_finding(told.report, subject, match)
            known = found.get(finding.uuid)
            if known is None or _is_worse(finding, known[0], match.rule):
                found[finding.uuid] = (finding, subject, match)
    standing = _find_standing(told, subjects) if record.has_open_findings else []
    _settle(standing, found, subjects, told)
    new, worse = _keep_new(standing, list(found.values()))
    _follow(new)
    for finding in worse:
        _tell(finding, id=uuid5(finding.uuid, f"worse:{told.report.uuid}"), at=told.report.occurred_at)
    return [finding for finding, _subject, _match in new]


def _with_work_of(told: Told, corrected: Told | None) -> Told:
    """The report with the runs its predecessor named, so that what hangs on their counts is counted anew."""
    if corrected is None:
        return told
    have = {row.run_id for row in told.cleanings}
    missing = [row for row in corrected.cleanings if row.run_id not in have]
    for row in missing:
        row.pressure_kpa, row.is_clean = None, False
    return Told(**{**vars(told), "cleanings": [*told.cleanings, *missing]})


def _make_finding(report: FieldReport, subject: Subject, match: Match) -> RuleFinding:
    return RuleFinding(
        uuid=uuid5(report.uuid, f"finding:{match.rule.code}:{subject.name}"),
        rule=match.rule.code,
        severity=match.rule.severity,
        sentence=match.sentence[:SENTENCE_LENGTH],
        report=report,
        crew_day=report.crew_day,
        span=subject.span,
        run=subject.run,
        container=subject.container,
        fitting=subject.fitting,
        facts=subject.facts,
        caused_by=report.by,
        found_at=report.occurred_at,
    )


def _find_standing(told: Told, subjects: Iterable[Subject]) -> list[RuleFinding]:
    """Open findings about the same work: those that facts may settle, and those that stand already."""
    runs = {subject.run.pk for subject in subjects if subject.run is not None}
    about = Q(crew_day=told.report.crew_day)
    if runs:
        about |= Q(run__in=runs)
    return list(open_findings().filter(about).select_for_update(of=("self",)).order_by("pk"))


def _settle(
    standing: list[RuleFinding],
    found: dict[UUID, Found],
    subjects: list[Subject],
    told: Told,
) -> None:
    """End what stood on facts that have been put right since."""
    held = {_topic(finding) for finding, _subject, _match in found.values()}
    looked_at = {
        (rule.code, subject.run.pk if subject.run else None)
        for subject in subjects
        for rule in rules_about(subject.about)
        if rule.is_settled_by_facts
    }
    counted = {row.run_id for row in told.cleanings if row.retrieved is not None}
    ended = [
        row
        for row in standing
        if (row.rule, row.run_id) in looked_at
        and _topic(row) not in held
        and not (row.rule in PROJECTILE_STOPS and (row.run_id not in counted or _is_uncounted(row, subjects)))
    ]
    at = told.report.occurred_at
    for row in ended:
        row.settled_at = at
    if ended:
        RuleFinding.objects.filter(pk__in=[row.pk for row in ended]).update(settled_at=at)
        free_what_was_stopped(ended)


def _is_uncounted(row: RuleFinding, subjects: list[Subject]) -> bool:
    """Whether nobody can say what is inside the run of a finding."""
    return any(
        subject.about == "projectiles"
        and subject.run is not None
        and subject.run.pk == row.run_id
        and "inside" not in subject.facts
        for subject in subjects
    )


def _topic(row: RuleFinding) -> tuple[Any, ...]:
    """What a finding is about, whichever report it comes from."""
    rule = rules_by_code().get(row.rule)
    day = None if rule is not None and rule.is_settled_by_facts and row.run_id else row.crew_day_id
    named = row.facts.get("tag", row.facts.get("told"))
    return (row.rule, day, row.span_id, row.run_id, row.container_id, row.fitting_id, named)


def _keep_new(standing: list[RuleFinding], found: list[Found]) -> tuple[list[Found], list[RuleFinding]]:
    """Store what does not stand already; what does takes the facts of today.

    Whoever adds to a stop of somebody else has caused one of his own, so that he does not lift it. Returned
    beside what is new are the stops whose causer has told of worse since.
    """
    by_topic: dict[tuple[Any, ...], list[RuleFinding]] = {}
    for row in standing:
        if row.settled_at is None:
            by_topic.setdefault(_topic(row), []).append(row)
    new, worse = [], []
    for finding, subject, match in found:
        same = by_topic.setdefault(_topic(finding), [])
        own = [row for row in same if row.caused_by_id == finding.caused_by_id]
        is_worse = bool(same) and all(_is_worse(finding, row, match.rule) for row in own or same)
        if not same or (match.rule.is_stop and not own and (is_worse or not match.rule.is_settled_by_facts)):
            same.append(finding)
            new.append((finding, subject, match))
            continue
        # A count is that of everybody; a pressure stays the highest that its causer told.
        for row in same if match.rule.is_settled_by_facts else own or same:
            if is_worse or match.rule.is_settled_by_facts or not match.rule.worsens_with:
                row.facts, row.sentence = finding.facts, finding.sentence
                if row.pk:
                    row.save(update_fields=["facts", "sentence"])
        if is_worse and match.rule.is_stop:
            worse += [row for row in own if row.pk and row not in worse]
    RuleFinding.objects.bulk_create([row for row, _subject, _match in new])
    return new, worse


def _is_worse(finding: RuleFinding, known: RuleFinding, rule: Rule) -> bool:
    name = rule.worsens_with
    return bool(name) and finding.facts.get(name, 0) > known.facts.get(name, 0)


def _follow(new: list[Found]) -> None:
    """Tell safety of every stop, hold fittings back, open incidents; what is stopped needs nothing ahead."""
    stops = [(row, subject) for row, subject, match in new if match.rule.is_stop]
    for row, subject in stops:
        if subject.fitting is not None:
            hold_fitting(tag=subject.fitting.tag, is_held=True)
        if subject.loss is not None:
            open_incident_of_loss(subject.loss, kind="fluid_in_the_ground")
        _tell(row, id=row.uuid, at=row.found_at)
    if stops:
        write_needs(
            find_days_ahead(
                span_keys=[row.span_id for row, _subject in stops if row.span_id is not None],
                run_keys=[row.run_id for row, _subject in stops if row.run_id is not None],
            )
        )


def _tell(row: RuleFinding, *, id: UUID, at: datetime) -> None:
    """Tell safety of a stop, or that it has become worse, under an id of its own."""
    body: dict[str, object] = {
        "finding": str(row.uuid),
        "rule": row.rule,
        "sentence": row.sentence,
        "caution": rules_by_code()[row.rule].caution,
        "to": "safety",
    }
    record_event(id=id, kind="work_stopped", occurred_at=at, body=body)


def _overtake(corrected: FieldReport, at: datetime) -> None:
    """End the warnings of a report that was corrected, and take back that its fittings were rigged."""
    open_findings().filter(report=corrected, severity=RuleFinding.Severity.WARNING).update(overtaken_at=at)
    unrig_fittings(reference=corrected.document)
