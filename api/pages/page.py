"""What every page shares: who looks, in which units and zone, and how a refusal is shown."""

from datetime import date
from http import HTTPStatus
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views import View

from api.errors import log_refusal, status_of
from api.models import User
from api.pages.navigation import list_areas
from api.pages.shown_units import ShownUnits
from api.wire.input_fields import read_day, read_uuid
from api.wire.viewer import get_actor, make_viewer
from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Company
from inventory.queries.company import get_company, get_today
from jobs.queries.access import WorkViewer

# No key of a database has more digits.
LONGEST_KEY = 19
HEADINGS = {
    HTTPStatus.NOT_FOUND: gettext_noop("Not found"),
    HTTPStatus.FORBIDDEN: gettext_noop("Not in your charge"),
    HTTPStatus.SERVICE_UNAVAILABLE: gettext_noop("Not yet"),
}


class Page(View):
    """A page for somebody who is signed in.

    Moments are shown in the company's zone, amounts in the person's units. What a service refuses is
    answered by a page that says why; a form catches the refusal first and shows it above what was entered.
    """

    user: User
    viewer: WorkViewer
    company: Company
    units: ShownUnits

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not isinstance(request.user, User):
            return redirect_to_login(request.get_full_path(), reverse("pages:sign_in"))
        self.user = request.user
        self.units = ShownUnits(self.user.units)
        try:
            self.company = get_company()
            self.viewer = make_viewer(self.user)
            with timezone.override(ZoneInfo(self.company.time_zone)):
                return super().dispatch(request, *args, **kwargs)
        except SpanstockError as refusal:
            return show_refusal(request, refusal)

    @cached_property
    def day(self) -> date:
        """The day that the page is about: the one asked for in the address, or today."""
        return read_day(self.request.GET.get("date", "")) or get_today()

    @property
    def actor(self) -> Actor:
        """Whom the ledger names for what this person does."""
        return get_actor(self.user)

    def posted_id(self, name: str) -> UUID:
        """The id that the page made for what is sent, so that sending it twice is harmless."""
        id = read_uuid(self.request.POST.get(name, ""))
        if id is None:
            raise BadInput.of([Fault(f"/{name}", "", "is missing; load the page again")])
        return id

    def asked_key(self, name: str) -> int | None:
        """Where a list goes on, None at its beginning."""
        text = self.request.GET.get(name, "")
        return int(text) if text.isascii() and text.isdigit() and len(text) < LONGEST_KEY else None

    def show(self, template: str, *, status: int = HTTPStatus.OK, **context: Any) -> HttpResponse:
        """A page by its template, with what the frame around it and the amounts in it need."""
        frame = {
            "areas": list_areas(self.user.role, self.request.path),
            "shown_units": self.units,
            "company_units": ShownUnits(User.Units.METRIC if self.company.uses_metric else User.Units.US),
            "shown_day": self.day,
            "today": get_today(),
            "currency": self.company.currency,
            "shows_money": self.viewer.may_see_money,
        }
        return render(self.request, f"pages/{template}.html", frame | context, status=status)


def show_refusal(request: HttpRequest, refusal: SpanstockError) -> HttpResponse:
    """Why something cannot be shown or done, and what to do about it."""
    log_refusal(refusal.code, status_of(refusal), request)
    role = request.user.role if isinstance(request.user, User) else ""
    status = status_of(refusal)
    heading = _(HEADINGS.get(status, gettext_noop("This cannot be done")))
    context = {"areas": list_areas(role, request.path), "title": heading, "refusal": refusal}
    return render(request, "pages/refused.html", context, status=status)
