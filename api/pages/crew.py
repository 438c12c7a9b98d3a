"""The crew's pages: its days, a day's sheet, and the field page that works without a signal."""

import hashlib
from datetime import timedelta
from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import translation
from django.utils.decorators import method_decorator
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_safe

from api.deploy.backups import find_last_restoring
from api.models import User
from api.pages.field_words import make_field_context
from api.pages.languages import BOOK_LANGUAGE, choose_language, in_own_language, list_languages
from api.pages.page import Page
from api.wire.field_days import field_pack
from api.wire.input_fields import read_day
from inventory.errors import NotFound
from jobs.queries.access import get_visible_crew_day
from jobs.queries.field_days import list_field_days, list_surroundings
from jobs.queries.field_state import find_field_state
from jobs.queries.pressure_limits import find_standing_limits
from jobs.queries.pull_sheet import GROUP_ORDER, make_pull_sheet
from jobs.queries.schedule import list_schedule

SHOWN_DAYS = 14
# What the field page calls itself in the reports that it sends.
FIELD_DEVICE = "field page"
# All that the field page is made of, kept on the phone when it is opened first.
FIELD_FILES = (
    "spanstock/pages.css",
    "spanstock/field.css",
    "spanstock/mark.svg",
    "spanstock/rules.js",
    "spanstock/field_fluid.js",
    "spanstock/field_facts.js",
    "spanstock/field_store.js",
    "spanstock/field_form.js",
    "spanstock/field_words.js",
    "spanstock/field_queue.js",
    "spanstock/field_sheet.js",
    "spanstock/field_report.js",
    "spanstock/field_truck.js",
    "spanstock/field.js",
)


@method_decorator(in_own_language, name="dispatch")
class Days(Page):
    """The days ahead of the crews that one sees, soonest first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        crews = self.viewer.crews
        days = list_schedule(from_date=self.day, to_date=self.day + timedelta(days=SHOWN_DAYS))
        if crews is not None:
            own = {self.user.crew.code} if self.user.crew is not None else set()
            days = [day for day in days if day.crew_code in own]
        return self.show("days", days=days, is_crew=self.user.role == User.Role.CREW)


@method_decorator(in_own_language, name="dispatch")
class DaySheet(Page):
    """What a crew takes along on a day, in the order in which it walks the cable."""

    def get(self, request: HttpRequest, crew: str, date: str) -> HttpResponse:
        day = read_day(date)
        if day is None:
            raise NotFound("That is no day; write it like 2026-03-31.")
        sheet = make_pull_sheet(get_visible_crew_day(self.viewer, crew_code=crew, date=day))
        groups = [
            (group, [line for line in sheet.lines if line.group == group])
            for group in GROUP_ORDER
            if any(line.group == group for line in sheet.lines)
        ]
        return self.show("day_sheet", sheet=sheet, groups=groups)


@method_decorator(in_own_language, name="dispatch")
class FieldPack(Page):
    """What the field page keeps: fetched when there is a signal, in the person's language."""

    def get(self, request: HttpRequest) -> HttpResponse:
        days = list_field_days(self.viewer, as_of=self.day)
        system = self.user.units or ("metric" if self.company.uses_metric else "us")
        pack = field_pack(
            days,
            list_surroundings(self.viewer),
            find_standing_limits(),
            find_field_state(days, by=self.user.actor_id, device=FIELD_DEVICE),
            system=system,
            currency=self.company.currency,
        )
        person = {"person": self.user.username, "language": choose_language(request)}
        return JsonResponse({**person, "as_of": self.day.isoformat(), **pack})


@require_safe
@never_cache
def show_who(request: HttpRequest) -> HttpResponse:
    """Who is signed in at this moment, the token that its writes have to carry, and which book this is.

    A book that was brought back from a copy is another one: what was sent since the copy it does not hold.
    """
    name = request.user.username if isinstance(request.user, User) else ""
    book = find_last_restoring() if name else ""
    return JsonResponse({"person": name, "token": get_token(request), "book": book})


@require_safe
@ensure_csrf_cookie
def show_field(request: HttpRequest) -> HttpResponse:
    """The field page: the same for everybody and without a word of anybody's data, so that it can be kept."""
    return _show_field(request, BOOK_LANGUAGE)


@require_safe
@ensure_csrf_cookie
def show_field_in(request: HttpRequest, language: str) -> HttpResponse:
    """The same in another language. A phone keeps all, and its page goes to that of whoever is signed in."""
    if language == BOOK_LANGUAGE or language not in dict(list_languages()):
        raise Http404
    return _show_field(request, language)


def _show_field(request: HttpRequest, language: str) -> HttpResponse:
    answer = HttpResponse(_write_field(language, request))
    answer["Content-Language"] = language
    answer["Cache-Control"] = "no-cache"
    return answer


def _write_field(language: str, request: HttpRequest | None = None) -> str:
    codes = [code for code, _name in list_languages()]
    with translation.override(language):
        return render_to_string("pages/field.html", {**make_field_context(), "languages": codes}, request)


def _list_field_addresses() -> list[str]:
    others = [code for code, _name in list_languages() if code != BOOK_LANGUAGE]
    return [reverse("pages:field"), *(reverse("pages:field_in", args=[code]) for code in others)]


@require_safe
def show_field_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps the field page on the phone; another version whenever a file of it changes."""
    files = [*_list_field_addresses(), *(static(name) for name in FIELD_FILES)]
    page = render_to_string("pages/field_worker.js", {"version": _field_version(), "files": files})
    answer = HttpResponse(page, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    return answer


@cache
def _field_version() -> str:
    """A hash of all files that the field page is made of; made once a process."""
    digest = hashlib.sha256()
    for name in FIELD_FILES:
        digest.update(Path(str(finders.find(name))).read_bytes())
    for code, _name in list_languages():
        digest.update(_write_field(code).encode())
    return digest.hexdigest()[:16]
