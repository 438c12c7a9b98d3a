"""The core that came out: lots of it, weighed and sold, and what a job's share of them is."""

from collections.abc import Iterable

from api.wire.acts import Act, Asker, Json
from api.wire.amounts import quantity_json
from api.wire.answers import Writer, make_writer, named_json
from api.wire.calculations.fields import Number, Record, Schema, positive
from api.wire.filters import Filter, by_text, by_word
from api.wire.input_fields import AmountField, MomentField, NoteField, PriceField, ReferenceField, UuidField
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import FLAG, MOMENT, NUMBER, TEXT, UUID, listing, nullable, of, shape, words
from api.wire.scrap_credits import scrap_credit_json
from inventory.errors import BadInput, Fault
from inventory.units import MILLION
from jobs.models import CableSize, CoreMass, Job, ScrapLot, ScrapPart, ScrapShare, ScrapTerms
from jobs.queries import fluid_access as access
from jobs.queries.core_scrap import get_job_scrap, list_scrap_credits
from jobs.queries.work_names import find_work
from jobs.services.core_scrap import add_to_lot, sell_lot, set_core_mass, set_scrap_terms, weigh_lot

BY_LABEL, BY_PK = Order("label"), Order("pk", is_number=True)
LOT_FILTERS: dict[str, Filter] = {"state": by_word("state", list(ScrapLot.State.values), "state of the lot")}
TERMS_FILTERS: dict[str, Filter] = {"job": by_text("job__reference", "reference of the job")}
_NAME = NoteField(longest=160, default="")
COMPONENTS: dict[str, Schema] = {
    "CoreMass": shape(cable_size=TEXT, grams_per_m=NUMBER, source=TEXT, is_measured=FLAG),
    "ScrapTerms": shape(job=TEXT, owner=of("Named"), document=TEXT),
    "ScrapPart": shape(
        id=UUID,
        lot=TEXT,
        job=TEXT,
        span=nullable(TEXT),
        cable_size=TEXT,
        length=of("Quantity"),
        grams_per_m=NUMBER,
        expected=of("Quantity"),
        added_at=MOMENT,
        added_by=of("Named"),
    ),
    "ScrapShare": shape(
        job=TEXT,
        owner=of("Named"),
        expected=of("Quantity"),
        weighed=of("Quantity"),
        proceeds=nullable(of("Money")),
    ),
    "ScrapLot": shape(
        label=TEXT,
        state=words(ScrapLot.State),
        expected=of("Quantity"),
        weighed=nullable(of("Quantity")),
        weighed_at=nullable(MOMENT),
        weighed_by=nullable(of("Named")),
        weigh_ticket=TEXT,
        buyer=TEXT,
        sold_at=nullable(MOMENT),
        sold_by=nullable(of("Named")),
        sale_document=TEXT,
        proceeds=nullable(of("Money")),
        parts=listing(of("ScrapPart")),
        shares=listing(of("ScrapShare")),
        caution=TEXT,
    ),
    "ScrapCredit": shape(
        lot=TEXT,
        sold_at=MOMENT,
        buyer=TEXT,
        document=TEXT,
        owner=of("Named"),
        expected=of("Quantity"),
        weighed=of("Quantity"),
        credited=nullable(of("Money")),
        owed=nullable(of("Money")),
    ),
    "JobScrap": shape(
        job=TEXT,
        expected=of("Quantity"),
        in_lots=of("Quantity"),
        weighed=of("Quantity"),
        credited=nullable(of("Money")),
        owed=nullable(of("Money")),
        unknown_sizes=listing(TEXT),
        credits=listing(of("ScrapCredit")),
    ),
}
CAUTION = "Core is heavy and springs: gloves and eye protection, cut it to lengths, lift it with a machine."


def _grams(grams: int) -> Json:
    return quantity_json(grams * MILLION, "g")


def mass_json(row: CoreMass) -> Json:
    return {
        "cable_size": row.cable_size.designation,
        "grams_per_m": row.grams_per_m,
        "source": row.source,
        "is_measured": row.is_measured,
    }


def terms_json(row: ScrapTerms) -> Json:
    return {"job": row.job.reference, "owner": named_json(row.owner), "document": row.document}


def lots_json(rows: Iterable[ScrapLot], writer: Writer) -> list[Json]:
    """Lots whose parts and shares were loaded with them."""
    return [_lot_json(row, writer) for row in rows]


def _lot_json(row: ScrapLot, writer: Writer) -> Json:
    parts = list(row.parts.all())
    return {
        "label": row.label,
        "state": row.state,
        "expected": _grams(sum(part.expected_g for part in parts)),
        "weighed": _grams(row.weighed_g) if row.weighed_g is not None else None,
        "weighed_at": moment_json(row.weighed_at),
        "weighed_by": named_json(row.weighed_by) if row.weighed_by is not None else None,
        "weigh_ticket": row.weigh_ticket,
        "buyer": row.buyer,
        "sold_at": moment_json(row.sold_at),
        "sold_by": named_json(row.sold_by) if row.sold_by is not None else None,
        "sale_document": row.sale_document,
        "proceeds": writer.money(row.proceeds),
        "parts": [part_json(part, row.label) for part in parts],
        "shares": [_share_json(share, writer) for share in row.shares.all()],
        "caution": CAUTION,
    }


def part_json(row: ScrapPart, lot: str) -> Json:
    return {
        "id": str(row.uuid),
        "lot": lot,
        "job": row.job.reference,
        "span": row.span.name if row.span is not None else None,
        "cable_size": row.cable_size.designation,
        "length": quantity_json(row.length_um, "m"),
        "grams_per_m": row.grams_per_m,
        "expected": _grams(row.expected_g),
        "added_at": moment_json(row.added_at),
        "added_by": named_json(row.added_by),
    }


def _share_json(row: ScrapShare, writer: Writer) -> Json:
    return {
        "job": row.job.reference,
        "owner": named_json(row.owner),
        "expected": _grams(row.expected_g),
        "weighed": _grams(row.weighed_g),
        "proceeds": writer.money(row.proceeds),
    }


def job_scrap_json(job: Job, writer: Writer) -> Json:
    """What the core of a job came to; money for who may see it."""
    found = get_job_scrap(job)
    return {
        "job": job.reference,
        "expected": _grams(found.expected_g),
        "in_lots": _grams(found.in_lots_g),
        "weighed": _grams(found.weighed_g),
        "credited": writer.money(found.credited),
        "owed": writer.money(found.owed),
        "unknown_sizes": list(found.unknown_sizes),
        "credits": [scrap_credit_json(row, writer.money) for row in list_scrap_credits(job)],
    }


def _find_size(designation: str) -> CableSize:
    size = CableSize.objects.filter(designation=designation).first()
    if size is None:
        raise BadInput.of([Fault("/cable_size", designation, "is no size of cable that is known here")])
    return size


def _set_mass(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.SETS_CORE, "say what core weighs")
    return mass_json(set_core_mass(cable_size=_find_size(values.pop("cable_size")), **values))


def _set_terms(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.SETS_CORE, "say whose core is")
    job = find_work(asker.viewer, job=values.pop("job"))["job"]
    if job is None:
        raise BadInput.of([Fault("/job", "", "is missing")])
    return terms_json(set_scrap_terms(job=job, **values))


def _gather(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.GATHERS_CORE, "gather core")
    work = find_work(asker.viewer, job=values.pop("job"), span=values.pop("span"))
    if work["job"] is None:
        raise BadInput.of([Fault("/job", "", "is missing")])
    size = values.pop("cable_size")
    part = add_to_lot(
        by=asker.by,
        label=values.pop("lot"),
        job=work["job"],
        span=work["span"],
        cable_size=_find_size(size) if size else None,
        **values,
    )
    return part_json(part, part.lot.label)


def _weigh(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.WEIGHS_CORE, "weigh core")
    lot = access.get_visible_lot(asker.viewer, values.pop("lot"))
    weigh_lot(by=asker.by, label=lot.label, **values)
    return _answer(lot, asker)


def _sell(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.SELLS_CORE, "sell core")
    access.require_sees_money(asker.viewer)
    lot = access.get_visible_lot(asker.viewer, values.pop("lot"))
    sell_lot(by=asker.by, label=lot.label, **values)
    return _answer(lot, asker)


def _answer(lot: ScrapLot, asker: Asker) -> Json:
    return _lot_json(access.get_visible_lot(asker.viewer, lot.label), make_writer(asker.viewer))


SET_MASS = Act(
    name="set_core_mass",
    summary="Put the company's own weighing of a cable size's core in the place of what was reckoned.",
    record=Record(
        fields={
            "cable_size": NoteField(longest=8),
            "grams_per_m": Number(limits=positive()),
            "source": NoteField(longest=200),
        }
    ),
    request="CoreMassRequest",
    answer="CoreMass",
    do=_set_mass,
)
SET_TERMS = Act(
    name="set_scrap_terms",
    summary="Say whose the core of a job is by its contract.",
    record=Record(
        fields={
            "job": NoteField(longest=160),
            "owner": ReferenceField(noun="party"),
            "document": NoteField(longest=200, default=""),
        }
    ),
    request="ScrapTermsRequest",
    answer="ScrapTerms",
    do=_set_terms,
)
GATHER = Act(
    name="gather_core",
    summary="Put a length of core into a lot, which is made with its first part.",
    record=Record(
        fields={
            "id": UuidField(),
            "occurred_at": MomentField(),
            "lot": NoteField(longest=64),
            "job": NoteField(longest=160),
            "span": _NAME,
            "cable_size": NoteField(longest=8, default="", about="where no span is named"),
            "length": AmountField(dimension="length"),
        }
    ),
    request="ScrapPartRequest",
    answer="ScrapPart",
    do=_gather,
)
WEIGH = Act(
    name="weigh_scrap_lot",
    summary="Close a lot with what it weighs, split over its jobs by expected mass.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "mass": AmountField(dimension="mass"),
            "ticket": NoteField(longest=100, default=""),
        }
    ),
    request="ScrapWeighing",
    answer="ScrapLot",
    do=_weigh,
    status=200,
    names=("lot",),
)
SELL = Act(
    name="sell_scrap_lot",
    summary="Sell a weighed lot; its jobs are credited their shares, or their owners are owed them.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "buyer": NoteField(longest=200),
            "proceeds": PriceField(),
            "document": NoteField(longest=200, default=""),
        }
    ),
    request="ScrapSale",
    answer="ScrapLot",
    do=_sell,
    status=200,
    names=("lot",),
)
ACTS = (SET_MASS, SET_TERMS, GATHER, WEIGH, SELL)
