"""What the answers look like, in JSON Schema 2020-12, as OpenAPI 3.1 takes it."""

from typing import Any

from django.db.models import TextChoices

from api.errors import list_problems
from api.wire.entry_requests import ENTRY_REQUESTS
from api.wire.statements import WORDS
from inventory.models import Container, Entry, Material, Movement, Place
from inventory.units import STOCK_UNITS, UNIT_CODES
from jobs.models import Job

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
FLAG: Schema = {"type": "boolean"}
NUMBER: Schema = {"type": "number"}
WHOLE: Schema = {"type": "integer"}
MOMENT: Schema = {"type": "string", "format": "date-time"}
DAY: Schema = {"type": "string", "format": "date"}
UUID: Schema = {"type": "string", "format": "uuid"}


def shape(**properties: Schema) -> Schema:
    """An object of which every property is always there."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def with_optional(schema: Schema, **properties: Schema) -> Schema:
    """The same object with properties that are absent for who may not see them."""
    return {**schema, "properties": {**schema["properties"], **properties}}


def of(name: str) -> Schema:
    """A component by its name."""
    return {"$ref": f"#/components/schemas/{name}"}


def nullable(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def listing(schema: Schema) -> Schema:
    return {"type": "array", "items": schema}


def words(choices: type[TextChoices], *, with_none: bool = False) -> Schema:
    return {"type": "string", "enum": [*choices.values, *([""] if with_none else [])]}


def page_of(name: str) -> Schema:
    """A page of a list: its rows, and the cursor of the next page or null on the last."""
    return shape(results=listing(of(name)), next_cursor=nullable(TEXT))


STATED = ("drawn", "stays", *WORDS)
VALUED = ("drawn", *WORDS)

COMPONENTS: dict[str, Schema] = {
    "Quantity": {
        **shape(value={"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}, unit={"enum": list(UNIT_CODES)}),
        "description": "A quantity; the unit is a UCUM code. Stored quantities have six decimals.",
        "example": {"value": "55.000000", "unit": "[gal_us]"},
    },
    "Money": {
        **shape(
            value={"type": "string", "pattern": r"^-?\d+\.\d{2,6}$"},
            currency={"type": "string", "pattern": "^[A-Z]{3}$"},
        ),
        "description": "Money; two decimals, up to six where it is finer. Null for who may not see it.",
        "example": {"value": "1234.56", "currency": "USD"},
    },
    "Named": shape(code=TEXT, name=TEXT),
    "PlaceName": shape(code=TEXT, name=TEXT, kind=words(Place.Kind)),
    "End": shape(place=of("PlaceName"), container=nullable(TEXT)),
    "Movement": shape(
        line=WHOLE,
        purpose=words(Movement.Purpose),
        cause=words(Movement.Cause, with_none=True),
        material=of("Named"),
        owner=of("Named"),
        source=of("End"),
        target=of("End"),
        lot=nullable(TEXT),
        quantity=of("Quantity"),
        entered=nullable(of("Quantity")),
        value=nullable(of("Money")),
    ),
    "ContainerChange": shape(
        container=TEXT,
        source=nullable(of("PlaceName")),
        target=nullable(of("PlaceName")),
        state_before=words(Container.State),
        state_after=words(Container.State),
        contents_state_before=words(Container.ContentsState),
        contents_state_after=words(Container.ContentsState),
    ),
    "Reading": shape(
        material=of("Named"),
        owner=of("Named"),
        place=of("PlaceName"),
        container=nullable(TEXT),
        counted=of("Quantity"),
        book=of("Quantity"),
        entered=nullable(of("Quantity")),
    ),
    "Entry": shape(
        id=UUID,
        kind=words(Entry.Kind),
        occurred_at=MOMENT,
        recorded_at=MOMENT,
        booked_date=DAY,
        actor=of("Named"),
        reason=TEXT,
        document=TEXT,
        reverses=nullable(UUID),
        reversed_by=nullable(UUID),
        movements=listing(of("Movement")),
        container_changes=listing(of("ContainerChange")),
        readings=listing(of("Reading")),
    ),
    "Holding": shape(
        id=TEXT,
        place=of("PlaceName"),
        material=of("Named"),
        owner=of("Named"),
        container=nullable(TEXT),
        quantity=of("Quantity"),
        unit_cost=nullable(of("Money")),
        is_unsettled=FLAG,
        counted_at=nullable(MOMENT),
    ),
    "Material": shape(
        code=TEXT,
        name=TEXT,
        kind=words(Material.Kind),
        stock_unit={"type": "string", "enum": list(STOCK_UNITS)},
        cost_formula=words(Material.CostFormula),
        standard_unit_cost=nullable(of("Money")),
        density_kg_per_m3=nullable(NUMBER),
        mass_kg_per_unit=nullable(NUMBER),
        recovered_from=nullable(TEXT),
        shelf_life_days=nullable(WHOLE),
        nominal_diameter_mm=nullable(NUMBER),
        inside_diameter_mm=nullable(NUMBER),
        outside_diameter_mm=nullable(NUMBER),
        cable_size=nullable(TEXT),
        fitting_role=nullable(words(Material.FittingRole)),
        is_reusable=FLAG,
        fibre_count=nullable(WHOLE),
        is_hazardous=FLAG,
        is_withdrawn=FLAG,
    ),
    "Place": shape(
        code=TEXT,
        name=TEXT,
        kind=words(Place.Kind),
        parent=nullable(TEXT),
        payload_kg=nullable(NUMBER),
        is_withdrawn=FLAG,
    ),
    "Container": shape(
        label=TEXT,
        short_code=TEXT,
        kind=words(Container.Kind),
        material=nullable(of("Named")),
        owner=of("Named"),
        place=nullable(of("PlaceName")),
        state=words(Container.State),
        contents_state=words(Container.ContentsState),
        filled_from=nullable(TEXT),
        received_at=nullable(MOMENT),
        best_before_date=nullable(DAY),
        capacity=nullable(of("Quantity")),
        heel=of("Quantity"),
        tare_kg=nullable(NUMBER),
        outer_mark=nullable(of("Quantity")),
        inner_mark=nullable(of("Quantity")),
        stated_length=nullable(of("Quantity")),
    ),
    "Job": shape(
        reference=TEXT,
        name=TEXT,
        state=words(Job.State),
        customer=nullable(of("Named")),
        place=of("PlaceName"),
        fibre=nullable(of("Named")),
        fibre_owner=nullable(of("Named")),
    ),
    "StatedMaterial": with_optional(
        shape(material=TEXT, name=TEXT, owner=TEXT, **{word: of("Quantity") for word in STATED}),
        values=shape(**{word: of("Money") for word in VALUED}),
        cost=of("Money"),
    ),
    "StatedPart": with_optional(
        shape(kind=TEXT, name=nullable(TEXT), materials=listing(of("StatedMaterial"))), cost=of("Money")
    ),
    "Statement": {
        **with_optional(
            shape(
                job=shape(reference=TEXT, name=TEXT, state=words(Job.State)),
                customer=nullable(TEXT),
                materials=listing(of("StatedMaterial")),
                furnished=listing(of("StatedMaterial")),
                parts=listing(of("StatedPart")),
                fluid=listing(of("FluidSum")),
            ),
            cost=of("Money"),
            book_value=of("Money"),
            agrees_with_book=FLAG,
            scrap=listing(of("ScrapCredit")),
            scrap_credit=of("Money"),
            cost_less_scrap=of("Money"),
        ),
        "description": "What a job's materials were. Costs are absent for who may see no money.",
    },
    "Calculation": shape(
        name=TEXT,
        summary=TEXT,
        request_schema={"type": "object"},
        answer_schema={"type": "object"},
        example={"type": "object"},
    ),
    "CalculationName": shape(name=TEXT, summary=TEXT),
    "ProblemCode": shape(code=TEXT, status=WHOLE, title=TEXT),
    "Fault": {
        "type": "object",
        "properties": {"pointer": TEXT, "value": TEXT, "detail": TEXT, "line": WHOLE},
        "required": ["pointer", "value", "detail"],
        "additionalProperties": False,
    },
}


def own_components() -> dict[str, Schema]:
    """The components of entries, stock and statements, with refusals."""
    requests = {request_name(kind): request.schema() for kind, request in ENTRY_REQUESTS.items()}
    return {**COMPONENTS, **requests, "EntryRequest": _any_entry_request(), "Problem": _problem()}


def request_name(kind: str) -> str:
    return f"{kind.capitalize()}Request"


def _any_entry_request() -> Schema:
    mapping = {kind: f"#/components/schemas/{request_name(kind)}" for kind in ENTRY_REQUESTS}
    return {
        "oneOf": [{"$ref": reference} for reference in mapping.values()],
        "discriminator": {"propertyName": "kind", "mapping": mapping},
    }


def _problem() -> Schema:
    """RFC 9457, with a code for programs and a pointer for each fault."""
    codes = [problem["code"] for problem in list_problems()]
    return {
        "type": "object",
        "properties": {
            "type": {"type": "string", "format": "uri-reference"},
            "title": TEXT,
            "status": WHOLE,
            "detail": TEXT,
            "code": {"type": "string", "examples": codes},
            "errors": listing(of("Fault")),
        },
        "required": ["type", "title", "status", "detail", "code"],
        "additionalProperties": False,
    }
