"""Pages led by a picture: where a day's fluid went, how reels are cut, what comes back by cable size."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.safestring import mark_safe

from api.pages.looks import show_table
from api.pages.page import Page
from api.wire.input_fields import read_day
from api.wire.pictures.drawing import Picture
from api.wire.pictures.fluid_balance import draw_fluid_balance
from api.wire.pictures.recovery import draw_recovery
from api.wire.pull_sheets import draw_cuts
from inventory.errors import NotFound
from jobs.models import DayBalance, FluidBalance
from jobs.queries.access import (
    get_visible_crew_day,
    get_visible_job,
    require_sees_all_work,
    visible_crew_days,
)
from jobs.queries.balances import with_parts
from jobs.queries.fluid_figures import last_balances
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.queries.recovery_rates import list_rates_by_size

MOST_DAYS = 60


class DayFigures(Page):
    """A crew-day drawn: where its fluid went, once it is closed, and which reel is cut where."""

    def get(self, request: HttpRequest, crew: str, date: str) -> HttpResponse:
        day = read_day(date)
        if day is None:
            raise NotFound("That is no day; write it like 2026-03-31.")
        crew_day = get_visible_crew_day(self.viewer, crew_code=crew, date=day)
        closed = with_parts(last_balances().filter(crew_day=crew_day)).first()
        sheet = make_pull_sheet(crew_day)
        return self.show(
            "day_figures",
            crew_day=crew_day,
            closed=closed,
            fluids=[self._draw(row, closed) for row in closed.fluids.all()] if closed else [],
            cuts=show_picture(draw_cuts(sheet)) if sheet.cut_lists else None,
        )

    def _draw(self, row: FluidBalance, closed: DayBalance) -> dict[str, Any]:
        # The closing that it was loaded for, so that it is not asked for again.
        row.balance = closed
        return show_picture(draw_fluid_balance(row))


class JobDays(Page):
    """The closed days of a job, each leading to where its fluid went."""

    def get(self, request: HttpRequest, reference: str) -> HttpResponse:
        job = get_visible_job(self.viewer, reference)
        days = visible_crew_days(self.viewer).filter(steps__span__run__job=job)
        days = days | visible_crew_days(self.viewer).filter(steps__run__job=job)
        rows = days.select_related("crew").distinct().order_by("-date", "crew__code")[:MOST_DAYS]
        return self.show("job_days", job=job, days=rows)


class RecoveryBySize(Page):
    """What of the injected fluid comes back, by cable size, with intervals."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_all_work(self.viewer)
        rates = list_rates_by_size()
        return self.show(
            "recovery", rates=rates, picture=show_picture(draw_recovery(rates)) if rates else None
        )


def show_picture(picture: Picture) -> dict[str, Any]:
    """A picture and its table for a template."""
    # Drawn here from our own numbers, with every text in it escaped.
    return {"drawn": mark_safe(picture.unstyled_svg), **show_table(picture.table)}
