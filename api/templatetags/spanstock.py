"""How amounts, money, days and vessels are written on pages."""

from datetime import date
from decimal import Decimal
from math import sqrt
from typing import Any

from django import template
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import SafeString

from api.pages.asked import Asked
from api.pages.shown_units import ShownUnits
from inventory.errors import Fault
from inventory.models import Container
from inventory.money import format_money, from_money_millionths
from inventory.short_codes import make_short_code
from inventory.units import format_amount

register = template.Library()
# Of a drawn vessel, in its own pixels.
TOP, HEIGHT = 2.0, 24.0
HUB, RIM = 3.0, 11.0


@register.simple_tag(takes_context=True)
def amount(context: dict[str, Any], millionths: int, unit: str) -> str:
    """A stored quantity in the reader's units; pieces bare."""
    units: ShownUnits = context["shown_units"]
    return units.write(millionths, unit)


@register.simple_tag(takes_context=True)
def some(context: dict[str, Any], millionths: int, unit: str) -> str:
    """The same in a table full of numbers: nothing is a dash."""
    return amount(context, millionths, unit) if millionths else "–"


@register.simple_tag(takes_context=True)
def length(context: dict[str, Any], micrometres: int) -> str:
    """A length along the cable, in the reader's units or, without a choice, the company's."""
    units: ShownUnits = context["shown_units"]
    return units.write(micrometres, "m") if units.choice else context["company_units"].write(micrometres, "m")


@register.simple_tag(takes_context=True)
def money(context: dict[str, Any], millionths: int | None) -> str:
    """Stored money in the company's currency, nothing where none is known."""
    return "" if millionths is None else format_money(millionths, context["currency"])


@register.simple_tag(takes_context=True)
def money_finely(context: dict[str, Any], millionths: int | None) -> str:
    """Stored money to four decimals: a foot costs cents, and to the cent cable sizes would look alike."""
    return "" if millionths is None else f"{from_money_millionths(millionths):.4f} {context['currency']}"


@register.simple_tag
def sent_money(amount: dict[str, str] | None) -> str:
    """Money as it goes over the wire, as a stored sheet has it."""
    if amount is None:
        return ""
    return format_money(int(Decimal(amount["value"]).scaleb(6)), amount["currency"])


@register.simple_tag
def sent_amount(amount: dict[str, str] | None) -> str:
    """A quantity as it goes over the wire, to a hundredth."""
    return "" if amount is None else format_amount(round(Decimal(amount["value"]), 2), amount["unit"])


@register.inclusion_tag("pages/form_field.html")
def form_field(asked: Asked, name: str, words: str, **more: Any) -> dict[str, Any]:
    """A field of a form with what was entered, and beside it what is wrong with that.

    `options` make it a choice, `units` an amount with the unit that `unit` begins with; `usual` is what it
    begins with, `type`, `list`, `needed` and `grow` go to the field as they are.
    """
    return {
        "name": name,
        "words": words,
        "value": asked.text(name, str(more.pop("usual", None) or "")),
        "unit": asked.text(f"{name}-unit", str(more.pop("unit", None) or "")),
        "fault": asked.fault(name),
        "options": more.pop("options", None),
        "units": more.pop("units", None),
        "type": more.pop("type", "text"),
        **more,
    }


@register.filter
def field_word(fault: Fault) -> str:
    """Which field a fault is about, as people say it: `unit cost` for `/lines/0/unit_cost/value`."""
    parts = [part for part in fault.pointer.split("/") if part and not part.isdigit()]
    named = [part for part in parts if part not in {"value", "unit", "currency"}] or parts
    return named[-1].replace("_", " ") if named else ""


@register.filter
def day(value: date) -> str:
    """A day with its weekday, since people plan by weekdays: Tue 3 Mar 2026."""
    return date_format(value, "D j M Y")


@register.filter
def short_code(container: Container) -> str:
    """What is typed or said for a container."""
    return make_short_code(container.pk)


@register.simple_tag
def gauge(container: Container, quantity: int, unit: str) -> SafeString:
    """A small drawing of how full a vessel or reel is; nothing for a lot or where no size is known.

    It repeats what is written beside it, so a screen reader passes it over.
    """
    if container.kind == Container.Kind.REEL:
        full = _whole_of_reel(container)
        return _draw_reel(min(quantity / full, 1.0)) if full else SafeString("")
    capacity = container.capacity_in(unit)
    if not capacity:
        return SafeString("")
    return _draw_vessel(min(quantity / capacity, 1.0))


def _whole_of_reel(container: Container) -> int | None:
    if container.capacity:
        return container.capacity
    return container.stated_length


def _draw_vessel(share: float) -> SafeString:
    depth = HEIGHT * share
    return format_html(
        '<svg class="gauge" width="20" height="28" viewBox="0 0 20 28" aria-hidden="true">'
        '<rect class="gauge-fill" x="2" y="{}" width="16" height="{}"/>'
        '<rect class="gauge-wall" x="2" y="2" width="16" height="24" rx="2"/>'
        '<path class="gauge-wall" d="M2 10h16M2 18h16"/></svg>',
        f"{TOP + HEIGHT - depth:.1f}",
        f"{depth:.1f}",
    )


def _draw_reel(share: float) -> SafeString:
    # What is wound on grows by area, as on a drum with flanges.
    radius = sqrt(HUB**2 + share * (RIM**2 - HUB**2))
    return format_html(
        '<svg class="gauge" width="28" height="28" viewBox="0 0 28 28" aria-hidden="true">'
        '<circle class="gauge-fill" cx="14" cy="14" r="{}"/>'
        '<circle class="gauge-wall" cx="14" cy="14" r="12"/>'
        '<circle class="gauge-hub" cx="14" cy="14" r="3"/></svg>',
        f"{radius:.1f}",
    )
