"""The planner's page: a week by crew, a step moved to another day, and at once what that leaves short."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.utils.timezone import now

from api.pages.page import Page
from api.wire.input_fields import read_day
from inventory.errors import BadInput, Fault, SpanstockError
from jobs.queries.access import PLANNING_ROLES, require_may_plan, require_sees_all_work, visible_crews
from jobs.queries.planned_week import get_week
from jobs.services.schedule import MovedStep, move_step


class Week(Page):
    """Who does what in the week, and what each day lacks."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_week()

    def post(self, request: HttpRequest) -> HttpResponse:
        """Move one step; the week is shown anew with what somebody should look at because of it."""
        try:
            require_may_plan(self.viewer)
            moved = self._move(request)
        except SpanstockError as refusal:
            return self._show_week(refusal=refusal)
        return self._show_week(moved=moved)

    def _move(self, request: HttpRequest) -> MovedStep:
        given = request.POST
        days = {name: read_day(given.get(name, "")) for name in ("from_date", "to_date")}
        faults = [
            Fault(f"/{name}", given.get(name, "")[:40], "must be a day such as 2026-03-31")
            for name, day in days.items()
            if day is None
        ]
        position = given.get("position", "")
        if not (position.isascii() and position.isdigit() and len(position) < 6):
            faults.append(Fault("/position", position[:40], "must be the number of a step"))
        if faults:
            raise BadInput.of(faults)
        return move_step(
            crew_code=given.get("crew", "")[:40],
            date=days["from_date"],  # type: ignore[arg-type]
            position=int(position),
            to_date=days["to_date"],  # type: ignore[arg-type]
            to_crew_code=given.get("to_crew", "")[:40],
            by=self.actor,
            occurred_at=now(),
        )

    def _show_week(
        self, *, refusal: SpanstockError | None = None, moved: MovedStep | None = None
    ) -> HttpResponse:
        require_sees_all_work(self.viewer)
        week = get_week(around=self.day)
        return self.show(
            "week",
            week=week,
            rows=[(crew, list(zip(week.dates, crew.days, strict=True))) for crew in week.crews],
            before=week.dates[0] - timedelta(days=7),
            after=week.dates[0] + timedelta(days=7),
            crews=visible_crews(self.viewer).order_by("code"),
            may_plan=self.viewer.role in PLANNING_ROLES,
            refusal=refusal,
            moved=moved,
        )
