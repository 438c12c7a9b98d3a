"""Documents, behind the rules of what they hang on."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.db.models import Model, Q, QuerySet

from inventory.errors import NotFound
from inventory.models import Entry, Receipt
from inventory.queries.access import NotAllowed, Viewer, require_may_post, visible_materials
from inventory.queries.supply_access import visible_receipts
from jobs.models import AttachedDocument
from jobs.queries.access import WorkViewer, require_may_report
from jobs.queries.field_reports import visible_reports
from jobs.queries.fluid_access import visible_manifests
from jobs.queries.safety_access import visible_incidents

KEEPS_DATA_SHEETS = ("safety", "admin")


def visible_priced_receipts(viewer: Viewer) -> QuerySet[Receipt]:
    """Receipts whose papers the viewer may see: a delivery note may say what goods cost."""
    receipts = visible_receipts(viewer)
    return receipts if viewer.may_see_money else receipts.none()


# By the word for the thing: its column, the rows the viewer sees, and by what each is named.
Things = Callable[[Any], QuerySet[Any]]
THINGS: dict[str, tuple[str, Things, str]] = {
    "field-report": ("report", visible_reports, "uuid"),
    "incident": ("incident", visible_incidents, "uuid"),
    "receipt": ("receipt", visible_priced_receipts, "uuid"),
    "material": ("material", visible_materials, "code"),
    "waste-manifest": ("manifest", visible_manifests, "number"),
}


def visible_documents(viewer: WorkViewer) -> QuerySet[AttachedDocument]:
    """Documents on things the viewer sees."""
    seen = Q()
    for column, things, _name in THINGS.values():
        seen |= Q(**{f"{column}__in": things(viewer).order_by().values("pk")})
    return AttachedDocument.objects.filter(seen).select_related(
        "file", "by", "report", "incident", "receipt", "material", "manifest"
    )


def get_visible_document(viewer: WorkViewer, uuid: UUID | None) -> AttachedDocument:
    found = visible_documents(viewer).filter(uuid=uuid).first() if uuid is not None else None
    if found is None:
        raise NotFound("There is no document of that id.")
    return found


def get_visible_thing(viewer: WorkViewer, *, word: str, name: Any) -> Model:
    """The thing of that word and name; `name` is an id, a code or a number, as the word wants it."""
    _column, things, key = THINGS[word]
    found: Model | None = things(viewer).filter(**{key: name}).first() if name is not None else None
    if found is None:
        raise NotFound(f"There is no {word.replace('-', ' ')} of that name.")
    return found


def require_may_attach(viewer: WorkViewer, *, word: str, thing: Model) -> None:
    """Refuse who may not add to the thing: that is for who tells, receives, disposes or answers for it.

    Whoever sees an accident may add to what is told of it, as for its words.
    """
    if word == "field-report":
        require_may_report(viewer)
    elif isinstance(thing, Receipt):
        require_may_post(viewer, Entry.Kind.RECEIPT, [(None, thing.place)])
    elif word == "material" and viewer.role not in KEEPS_DATA_SHEETS:
        raise NotAllowed("Data sheets are kept by safety.")
    elif word == "waste-manifest":
        require_may_post(viewer, Entry.Kind.DISPOSAL)
