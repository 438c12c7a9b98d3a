"""The warehouse manager's pages: what runs out and why, what is where, what a container has been through."""

from datetime import timedelta
from typing import Any
from urllib.parse import quote, unquote
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.timezone import now

from api.pages.looks import show_table
from api.pages.page import Page
from api.wire.pictures.projected_stock import draw_projected_stock
from inventory.errors import NotFound, SpanstockError
from inventory.models import Entry, Material, Place
from inventory.queries.access import get_container, get_material, get_place
from inventory.queries.container_history import list_contents_of, list_history
from inventory.queries.projected_stock import project_stock
from inventory.queries.restock import list_restock
from inventory.queries.restock_lines import RestockLine
from inventory.queries.supply_access import require_may_restock, require_sees_restock
from inventory.queries.whereabouts import find_whereabouts, list_holders, list_kinds_held
from inventory.services.restocking.ordering import write_orders_from_list
from jobs.queries.requirement_names import name_requirements

HORIZON_DAYS = 28
COVER_DAYS = 14
MOST_NAMED = 4


class WhatIsWhere(Page):
    """Find a thing and walk to it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        asked = {
            name: request.GET.get(name, "")[:100].replace("\x00", "") for name in ("search", "kind", "place")
        }
        found = find_whereabouts(
            self.viewer,
            search=asked["search"],
            kind=asked["kind"],
            place=asked["place"],
            after=request.GET.get("after", "")[:100].replace("\x00", ""),
        )
        return self.show(
            "whereabouts",
            found=found,
            asked=asked,
            is_narrowed=any(asked.values()),
            kinds=[(kind, Material.Kind(kind).label) for kind in list_kinds_held(self.viewer)],
            holders=[(Place.Kind(kind).label, places) for kind, places in list_holders(self.viewer).items()],
        )


class ContainerPage(Page):
    """One drum, tote or reel: what is in it, and everything that ever went in and out."""

    def get(self, request: HttpRequest, label: str) -> HttpResponse:
        container = get_container(self.viewer, label)
        history = list_history(self.viewer, container, before=self.asked_key("before"))
        return self.show(
            "container",
            container=container,
            contents=list_contents_of(self.viewer, container),
            history=history,
        )


class Restock(Page):
    """What runs out first, why, and how to order it before it does."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_list()

    def post(self, request: HttpRequest) -> HttpResponse:
        """Write orders for what was ticked; none of them is sent yet."""
        require_may_restock(self.viewer, None)
        try:
            orders = write_orders_from_list(
                id=self.posted_id("id"),
                by=self.actor,
                occurred_at=now(),
                as_of=self.day,
                place=None,
                lines=[_read_line(text) for text in request.POST.getlist("line")],
                own_places=self.viewer.own_places,
                horizon_days=HORIZON_DAYS,
            )
        except SpanstockError as refusal:
            return self._show_list(refusal)
        references = ",".join(order.reference for order in orders)
        return redirect(f"{reverse('pages:restock')}?written={references}")

    def _show_list(self, refusal: SpanstockError | None = None) -> HttpResponse:
        require_sees_restock(self.viewer)
        answer = list_restock(as_of=self.day, horizon_days=HORIZON_DAYS, cover_days=COVER_DAYS)
        names = name_requirements(name for line in answer.lines for name in line.at_risk)
        written = self.request.GET.get("written", "")[:200]
        return self.show(
            "restock",
            answer=answer,
            until=answer.as_of + timedelta(days=answer.horizon_days - 1),
            lines=[_tell_line(line, names) for line in answer.lines],
            total=sum(line.cost or 0 for line in answer.lines),
            written=[reference for reference in written.split(",") if reference],
            may_order=Entry.Kind.RECEIPT in self.viewer.postable,
            request_id=uuid4(),
            refusal=refusal,
            ticked=self.request.POST.getlist("line"),
        )


class StockAhead(Page):
    """One material's stock in the weeks ahead, as a picture and as numbers."""

    def get(self, request: HttpRequest, place: str, material: str) -> HttpResponse:
        require_sees_restock(self.viewer)
        stock = project_stock(
            material=get_material(self.viewer, material),
            place=get_place(self.viewer, place),
            as_of=self.day,
            horizon_days=HORIZON_DAYS,
        )
        if stock is None:
            raise NotFound("It is neither planned nor used there, so there is nothing to foresee.")
        picture = draw_projected_stock(stock)
        # Drawn here from our own numbers, with every text in it escaped.
        drawn = mark_safe(picture.unstyled_svg)
        return self.show("stock_ahead", stock=stock, drawn=drawn, **show_table(picture.table))


def _name_line(line: RestockLine) -> str:
    """A line as its tick sends it: place and material, whatever characters their codes have."""
    return f"{quote(line.place.code, safe='')}/{quote(line.material.code, safe='')}"


def _read_line(text: str) -> tuple[str, str]:
    place, _slash, material = text[:1000].partition("/")
    return unquote(place).replace("\x00", ""), unquote(material).replace("\x00", "")


def _tell_line(line: RestockLine, names: dict[str, str]) -> dict[str, Any]:
    doubtful = [name for name in line.at_risk if name not in line.standing]
    return {
        "line": line,
        "name": _name_line(line),
        "chance": "nearly certain" if line.chance_short > 0.995 else f"{line.chance_short:.0%}",
        "standing": [
            (word, [names.get(name, name) for name in found[:MOST_NAMED]], max(len(found) - MOST_NAMED, 0))
            for word, found in (("Would", line.standing), ("Might", doubtful))
            if found
        ],
    }
