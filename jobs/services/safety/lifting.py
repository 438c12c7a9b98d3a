"""Lifting what a rule found: with a reason, by whom the rule says, and a stop never by whoever caused it."""

from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor
from inventory.queries.access import NotAllowed
from inventory.services.sealing import record_event
from jobs.models import RuleFinding
from jobs.queries.rules import get_rule
from jobs.services.safety.freeing import free_what_was_stopped

SHORTEST_REASON, LONGEST_REASON = 5, 500


class FindingIsEnded(SpanstockError):
    """The finding was lifted by somebody else, or has ended by itself."""

    code = "finding_is_ended"


class LiftedByItsCauser(NotAllowed):
    """A stop is never lifted by the person who caused it."""

    code = "lifted_by_its_causer"


@transaction.atomic
def lift_finding(*, id: UUID, by: Actor, role: str, reason: str, occurred_at: datetime) -> RuleFinding:
    """Lift a finding: the work that it stopped may be planned again.

    The rule names the roles that may. Sent again by the same person with the same reason, it changes nothing.
    """
    finding = RuleFinding.objects.select_for_update().filter(uuid=id).first()
    if finding is None:
        raise NotFound("There is no finding of that id.")
    _require_may_lift(finding, by, role)
    reason = reason.strip()
    if not SHORTEST_REASON <= len(reason) <= LONGEST_REASON:
        message = f"must say why in {SHORTEST_REASON} to {LONGEST_REASON} characters"
        raise BadInput.of([Fault("/reason", reason[:60], message)])
    if (finding.lifted_by_id, finding.lift_reason) == (by.pk, reason):
        return finding
    if not finding.is_open:
        raise FindingIsEnded("This finding has ended already; there is nothing to lift.")
    finding.lifted_at, finding.lifted_by, finding.lift_reason = occurred_at, by, reason
    finding.save(update_fields=["lifted_at", "lifted_by", "lift_reason"])
    free_what_was_stopped([finding])
    record_event(
        id=uuid5(finding.uuid, "lifted"),
        kind="finding_lifted",
        occurred_at=occurred_at,
        body={"finding": str(finding.uuid), "rule": finding.rule, "by": by.code, "reason": reason},
    )
    return finding


def _require_may_lift(finding: RuleFinding, by: Actor, role: str) -> None:
    rule = get_rule(finding.rule)
    if role not in rule.lifted_by:
        raise NotAllowed(f"This is lifted by: {', '.join(rule.lifted_by)}.")
    if finding.severity == RuleFinding.Severity.STOP and finding.caused_by_id == by.pk:
        raise LiftedByItsCauser("A stop is not lifted by the person who caused it; ask another of safety.")
