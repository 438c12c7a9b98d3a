"""Closing crew-days, what came of it, and the sums of a job and of a month."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method
from api.wire.balances import day_balance_json
from api.wire.door import Door
from api.wire.fluid_sums import fluid_sum_json, month_fluid_json
from api.wire.input_fields import read_day
from api.wire.report_acts import CLOSE_DAY
from api.wire.schemas import of
from inventory.errors import NotFound
from jobs.models import CrewDay
from jobs.queries.access import (
    get_visible_crew_day,
    get_visible_job,
    require_sees_all_work,
)
from jobs.queries.balances import get_last_balance
from jobs.queries.fluid_figures import list_parts, sum_of_job


class Balance(Door):
    """What became of the fluid of one crew-day."""

    @extend_schema(operation_id="get_balance", responses={200: OpenApiResponse(of("DayBalance"))})
    def get(self, request: Request, crew: str, date: str) -> Response:
        """Get the last closing of a day: where its fluid went, what is missing, whom to suspect."""
        return self.answer(self._day(crew, date))

    post = act_method(CLOSE_DAY)

    def _day(self, crew: str, date: str) -> CrewDay:
        day = read_day(date)
        if day is None:
            raise NotFound("That is not a day; write it like 2026-03-31.")
        return get_visible_crew_day(self.viewer, crew_code=crew, date=day)

    def answer(self, day: CrewDay) -> Response:
        return Response(day_balance_json(get_last_balance(day)))


class JobFluid(Door):
    """The fluid of one job."""

    @extend_schema(operation_id="get_job_fluid", responses={200: OpenApiResponse(of("JobFluid"))})
    def get(self, request: Request, reference: str) -> Response:
        """Get the sums of a job's closed days: the whole, by run and by span."""
        job = get_visible_job(self.viewer, reference)
        parts: list[dict[str, Any]] = [
            {"kind": part.kind, "name": part.name, "sum": fluid_sum_json(part.sum)}
            for part in list_parts(job)
        ]
        sums = [fluid_sum_json(found) for found in sum_of_job(job)]
        return Response({"job": job.reference, "sums": sums, "parts": parts})


class MonthFluid(Door):
    """The fluid of one month over all crews."""

    @extend_schema(operation_id="get_month_fluid", responses={200: OpenApiResponse(of("MonthFluid"))})
    def get(self, request: Request, month: str) -> Response:
        """Get the sums of a month's closed days, such as 2026-03; not for crews, who see their own days."""
        require_sees_all_work(self.viewer)
        return Response(month_fluid_json(month))
