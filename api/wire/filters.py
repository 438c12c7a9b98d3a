"""By what each noun's list is ordered and narrowed, the same for REST and GraphQL."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q

from api.wire.input_fields import read_day
from api.wire.pages import Order
from inventory import models
from inventory.errors import Fault
from inventory.models import Container, Entry, Material, Place
from inventory.queries.access import Viewer, visible_movements, visible_places
from jobs.models import Job

LONGEST_FILTER = 200


@dataclass(frozen=True)
class Filter:
    """One parameter by which a list is narrowed: how its text is read and what it asks of the rows.

    What it asks may lie outside the rows; then only what the reader sees of that counts, or the number of
    rows would tell of the rest.
    """

    about: str
    condition: Callable[[Any, Viewer], Q]
    read: Callable[[str], Any | None] = str
    schema: Mapping[str, Any] | None = None
    complaint: str = "is not understood"


def by_text(column: str, about: str) -> Filter:
    """Rows whose column is this text."""
    return Filter(
        about, lambda value, _viewer: Q(**{column: value}), schema={"type": "string", "minLength": 1}
    )


def by_word(column: str, words: list[str], about: str) -> Filter:
    """Rows whose column is one word of a short list."""
    return Filter(
        about,
        lambda value, _viewer: Q(**{column: value}),
        lambda text: text if text in words else None,
        {"type": "string", "enum": words},
        f"must be one of {', '.join(words)}",
    )


def by_day(about: str, condition: Callable[[date], Q]) -> Filter:
    """Rows by a day of the calendar."""
    schema = {"type": "string", "format": "date"}
    return Filter(
        about, lambda day, _viewer: condition(day), read_day, schema, "must be a day such as 2026-03-31"
    )


def by_flag(column: str, about: str) -> Filter:
    """Rows by yes or no."""
    words = {"true": True, "false": False}
    return Filter(
        about,
        lambda value, _viewer: Q(**{column: value}),
        words.get,
        {"type": "boolean"},
        "must be true or false",
    )


def read_filters(
    given: Mapping[str, str], filters: Mapping[str, Filter], faults: list[Fault], *, viewer: Viewer
) -> Q:
    """The condition of all parameters together; what is not understood is noted."""
    condition = Q()
    for name, text in given.items():
        filter = filters[name]
        value = filter.read(text) if 0 < len(text) <= LONGEST_FILTER else None
        if value is None:
            faults.append(Fault(name, text[:60], filter.complaint))
        else:
            condition &= filter.condition(value, viewer)
    return condition


def _touches(condition: Q, viewer: Viewer) -> Q:
    """Entries with a movement like this that the reader sees."""
    return Q(Exists(visible_movements(viewer).filter(condition, entry=OuterRef("pk"))))


def _lies_in(code: str, viewer: Viewer) -> Q:
    return Q(parent__in=visible_places(viewer).filter(code=code))


def _booked_on(day: date) -> Q:
    return Q(booked_date=day)


def _at_job(reference: str) -> Q:
    found = Q()
    for end in ("source_place", "target_place"):
        for level in ("job", "parent__job", "parent__parent__job"):
            found |= Q(**{f"{end}__{level}__reference": reference})
    return found


BY_KEY = Order("key", is_number=True)


ENTRY_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Entry.Kind.values), "kind of entry"),
    "place": Filter(
        "code of a place that goods left or came to",
        lambda code, viewer: _touches(Q(source_place__code=code) | Q(target_place__code=code), viewer),
    ),
    "material": Filter("code of a material", lambda code, viewer: _touches(Q(material__code=code), viewer)),
    "container": Filter(
        "label of a container that goods left or came to",
        lambda label, viewer: _touches(
            Q(source_container__label=label) | Q(target_container__label=label), viewer
        ),
    ),
    "job": Filter(
        "reference of a job: what its runs and spans took and gave back",
        lambda reference, viewer: _touches(_at_job(reference), viewer),
    ),
    "actor": by_text("actor__code", "code of whoever made it"),
    "document": by_text("document", "the document it was made by"),
    "booked_on": by_day("day on which it is booked", _booked_on),
    "booked_from": by_day("first day on which it may be booked", lambda day: Q(booked_date__gte=day)),
    "booked_until": by_day("last day on which it may be booked", lambda day: Q(booked_date__lte=day)),
}


BY_NAME, BY_CODE, BY_LABEL = Order("key"), Order("code"), Order("label")
HOLDING_FILTERS: dict[str, Filter] = {
    "place": by_text("place__code", "code of a place"),
    "place_kind": by_word("place__kind", sorted(Place.STOCK_KINDS), "kind of place"),
    "material": by_text("material__code", "code of a material"),
    "material_kind": by_word("material__kind", list(Material.Kind.values), "kind of material"),
    "owner": by_text("owner__code", "code of whoever owns the goods"),
    "container": by_text("container__label", "label of a container"),
    "is_unsettled": by_flag("is_unsettled", "whether somebody should look"),
}
MATERIAL_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Material.Kind.values), "kind of material"),
    "is_withdrawn": by_flag("is_withdrawn", "whether it is no longer used"),
}
PLACE_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Place.Kind.values), "kind of place"),
    "parent": Filter("code of the place it lies in", _lies_in, schema={"type": "string", "minLength": 1}),
    "is_withdrawn": by_flag("is_withdrawn", "whether it is no longer used"),
}
CONTAINER_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Container.Kind.values), "kind of container"),
    "state": by_word("state", list(Container.State.values), "state of the container"),
    "place": by_text("place__code", "code of the place where it stands"),
    "material": by_text("material__code", "code of the material it is meant for"),
}


REPORT_FILTERS: dict[str, Filter] = {
    "crew": by_text("crew_day__crew__code", "code of the crew"),
    "date": by_day("day of the crew", lambda day: Q(crew_day__date=day)),
    "is_undone": by_flag("is_undone", "whether another report has taken its place"),
}
HAND_OVER_FILTERS: dict[str, Filter] = {
    "source_place": by_text("source__code", "code of the truck that gave"),
    "target_place": by_text("target__code", "code of the truck that got"),
    "is_confirmed": by_flag("is_confirmed", "whether the receiver confirmed or disputed it"),
    "is_open": Filter(
        "whether the receiver has not answered yet",
        lambda is_open, _viewer: Q(is_confirmed__isnull=is_open),
        {"true": True, "false": False}.get,
        {"type": "boolean"},
        "must be true or false",
    ),
}


BY_REFERENCE = Order("reference")
JOB_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(Job.State.values), "state of the job"),
    "customer": by_text("customer__code", "code of the customer"),
}


TERMS_FILTERS: dict[str, Filter] = {
    "material": by_text("material__code", "code of a material"),
    "supplier": by_text("supplier__code", "code of a supplier"),
}
ORDER_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(models.Order.State.values), "state of the order"),
    "supplier": by_text("supplier__code", "code of a supplier"),
    "place": by_text("place__code", "code of the place it is delivered to"),
}
RECEIPT_FILTERS: dict[str, Filter] = {
    "supplier": by_text("supplier__code", "code of a supplier"),
    "place": by_text("place__code", "code of the place it came to"),
    "delivery_note": by_text("delivery_note", "number of the delivery note"),
}
HELD_FILTERS: dict[str, Filter] = {
    "finding": by_word("finding", list(models.ReceivedLine.Finding.values), "what was found"),
    "supplier": by_text("receipt__supplier__code", "code of a supplier"),
    "material": by_text("material__code", "code of a material"),
}
CREDIT_FILTERS: dict[str, Filter] = {
    "supplier": by_text("received_line__receipt__supplier__code", "code of a supplier"),
    "is_open": by_flag("credit__isnull", "true for credits that are still to come"),
}
SHIPMENT_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(models.Shipment.State.values), "state of the shipment"),
    "source_place": by_text("source__code", "code of the place it left"),
    "target_place": by_text("target__code", "code of the place it goes to"),
}
COUNT_SHEET_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(models.CountSheet.State.values), "state of the sheet"),
    "place": by_text("place__code", "code of the place that is counted"),
}
