"""What is looked for before leaving: protection and gear that no stock is kept of."""

from dataclasses import dataclass

from jobs.models import AccessPoint, CheckListItem, CrewDayStep, Occasion, ProtectiveEquipment
from jobs.queries.day_work import DayWork

Step = CrewDayStep.Kind


@dataclass(frozen=True)
class CheckItem:
    """One line to tick off."""

    name: str
    detail: str
    is_protective: bool = False


@dataclass(frozen=True)
class CheckLists:
    """The company's lists, read once for however many sheets."""

    protective: list[ProtectiveEquipment]
    gear: list[CheckListItem]

    def for_day(self, work: DayWork) -> list[CheckItem]:
        """What this day's steps ask for: protection first, then gear, in the company's order."""
        if not work.steps:
            return []
        found = [
            CheckItem(item.name, "", is_protective=True)
            for item in self.protective
            if item.material_id is None and is_occasion(item.occasion, work)
        ]
        return found + [
            CheckItem(item.name, item.detail) for item in self.gear if is_occasion(item.occasion, work)
        ]


def load_check_lists(protective: list[ProtectiveEquipment]) -> CheckLists:
    return CheckLists(protective, list(CheckListItem.objects.filter(is_withdrawn=False)))


def get_check_lists() -> CheckLists:
    """The lists as they stand, for whoever edits them."""
    return load_check_lists(
        list(ProtectiveEquipment.objects.filter(is_withdrawn=False).select_related("material"))
    )


def is_occasion(occasion: str, work: DayWork) -> bool:
    """Whether a day has what a thing is taken along for."""
    kinds = {str(step.kind) for step in work.steps}
    if occasion == Occasion.ALWAYS:
        return True
    if occasion == Occasion.AIR:
        return bool(kinds & {Step.CLEAN, Step.BLOW})
    if occasion == Occasion.VAULT:
        return bool(list_vaults(work))
    return occasion in kinds


def list_vaults(work: DayWork) -> list[str]:
    """The vaults at the ends of the day's spans, by name."""
    of_runs = [span for spans in work.spans_by_run.values() for span in spans]
    ends = [point for span in [*work.extracted_spans, *of_runs] for point in (span.near, span.far)]
    return list(dict.fromkeys(point.name for point in ends if point.kind == AccessPoint.Kind.VAULT))
