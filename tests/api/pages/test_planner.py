"""The planner's week: a step is moved by planners only, and the page says what that leaves to look at."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from jobs.models import CrewDayStep
from tests.factories.jobs import DAY

Browse = Callable[[str], Client]
MOVE = {"crew": "north", "from_date": str(DAY), "position": "1", "to_date": str(DAY + timedelta(days=1))}


def test_week_shows_every_crews_days_and_what_they_lack(browse: Browse) -> None:
    text = browse("planner").get(f"/week?date={DAY}").content.decode()
    assert "north crew" in text
    assert "south crew" in text
    assert "Extract span S1" in text
    assert "Short of" in text
    assert (
        "Nothing is planned in this week" in browse("planner").get("/week?date=2020-01-01").content.decode()
    )


def test_step_is_moved_and_named(browse: Browse) -> None:
    text = browse("planner").post(f"/week?date={DAY}", {**MOVE, "to_crew": "south"}).content.decode()
    assert "with south crew" in text
    step = CrewDayStep.objects.get(span__job__reference="J-north")
    assert (step.crew_day.crew.code, step.crew_day.date) == ("south", DAY + timedelta(days=1))


@pytest.mark.parametrize("role", ["stores", "accounts", "safety"])
def test_who_does_not_plan_moves_nothing(browse: Browse, role: str) -> None:
    client = browse(role)
    assert ">move</summary>" not in client.get(f"/week?date={DAY}").content.decode()
    assert "Days are planned by planners" in client.post(f"/week?date={DAY}", MOVE).content.decode()
    assert CrewDayStep.objects.filter(crew_day__date=DAY).count() == 2


@pytest.mark.parametrize(
    "wrong", [{"to_date": "soon"}, {"position": "x"}, {"position": "9"}, {"crew": "none"}]
)
def test_move_of_nothing_says_what_is_wrong(browse: Browse, wrong: dict[str, str]) -> None:
    answer = browse("planner").post(f"/week?date={DAY}", {**MOVE, **wrong})
    assert answer.status_code == 200
    assert 'role="alert"' in answer.content.decode()
    assert CrewDayStep.objects.filter(crew_day__date=DAY).count() == 2


def test_crew_does_not_see_the_week_of_all(browse: Browse) -> None:
    assert browse("crew").get(f"/week?date={DAY}").status_code == 403
