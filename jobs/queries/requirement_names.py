"""What planned uses are called by people: inventory knows them by a reference only."""

from collections.abc import Iterable

from jobs.models import CrewDay

PREFIX = "crew-day:"


def name_requirements(references: Iterable[str]) -> dict[str, str]:
    """Return crew and day by reference; what is no crew-day of ours keeps its reference. One query."""
    wanted = set(references)
    keys = [int(part) for name in wanted if (part := name.removeprefix(PREFIX)).isdigit()]
    names = {name: name for name in wanted}
    for day in CrewDay.objects.filter(pk__in=keys).select_related("crew"):
        if day.requirement_reference in names:
            names[day.requirement_reference] = f"{day.crew.name} on {day.date:%a %d %b}"
    return names
