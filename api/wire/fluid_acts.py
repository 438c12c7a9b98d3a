"""What is done with recovered fluid: tested, passed, strained, blended, spent; limits set."""

from api.wire.acts import Act, Asker, Json
from api.wire.calculations.fields import Choice, Flag, Limits, Listing, Number, Record, Whole
from api.wire.entry_requests import AMOUNT, AS_REPORT, CONTAINER, MATERIAL, MOST_LINES, PARTS, PLACE, listing
from api.wire.fluid_answers import fluid_act_json, limit_json, policy_json, release_json, test_json
from api.wire.input_fields import MomentField, NoteField, ReferenceField, UuidField
from inventory.errors import BadInput, Fault
from inventory.models import Entry, FluidRelease, Material
from inventory.queries.holdings import list_contents
from inventory.services.fluids.limits import (
    Bounds,
    set_fluid_limit,
    set_fluid_policy,
    withdraw_fluid_limit,
)
from inventory.services.fluids.releasing import release_same_day, release_tested
from inventory.services.fluids.spending import spend
from inventory.services.fluids.straining import make_fluid_by_recipe, strain
from inventory.services.fluids.testing import Measured, record_test
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.queries import fluid_access as access
from jobs.services.safety.roles import require_safety

BOX = ReferenceField(noun="container")
HEAD = {"id": UuidField(), "occurred_at": MomentField()}
_END = Number(default=None, may_be_null=True)
_UNIT = NoteField(longest=20, default="", about="of the property, such as mg/L; empty for pH")
_PROPERTY = NoteField(longest=60, about="what is measured, such as pH")


def _materials_of(entry: Entry) -> list[Material]:
    return list(Material.objects.filter(pk__in=entry.movements.values("material")).order_by("code"))


def _record_test(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.TESTS_FLUID, "record fluid tests")
    results = [Measured(row["measured"], row["value"], row["unit"]) for row in values.pop("results")]
    made = record_test(by=asker.by, results=results, **values)
    return test_json(access.get_visible_test(asker.viewer, made.uuid))


def _set_limit(values: Json, asker: Asker) -> Json:
    require_safety(asker.viewer.role)
    bounds = Bounds(values.pop("lowest"), values.pop("highest"))
    return limit_json(set_fluid_limit(by=asker.by, bounds=bounds, **values))


def _withdraw_limit(values: Json, asker: Asker) -> Json:
    require_safety(asker.viewer.role)
    rows = access.visible_fluid_limits().filter(material=values["material"], measured=values["measured"])
    limit = rows.order_by("approved_at", "pk").last()
    if limit is None:
        raise BadInput.of([Fault("/measured", values["measured"], "has had no limit for this fluid")])
    return limit_json(withdraw_fluid_limit(limit=limit, occurred_at=values["occurred_at"]))


def _set_policy(values: Json, asker: Asker) -> Json:
    require_safety(asker.viewer.role)
    return policy_json(set_fluid_policy(**values))


def _release(values: Json, asker: Asker) -> Json:
    basis, box = values.pop("basis"), values["container"]
    if basis == FluidRelease.Basis.TESTED:
        access.require_role(asker.viewer, access.TESTS_FLUID, "pass fluid on a test")
        return release_json(release_tested(by=asker.by, **values))
    access.require_may_handle(asker.viewer, [box])
    return release_json(release_same_day(by=asker.by, **values))


def _strain(values: Json, asker: Asker) -> Json:
    boxes = [values["source"], values["target"], values["residue"]]
    access.require_may_handle(asker.viewer, boxes)
    supplies = [_part(row) for row in values.pop("supplies")]
    access.require_places_handled(asker.viewer, [line.source.place for line in supplies])
    entry = strain(by=asker.by, supplies=supplies, **values)
    return fluid_act_json(entry, boxes, _materials_of(entry))


def _blend(values: Json, asker: Asker) -> Json:
    boxes = [*values["sources"], values["target"]]
    access.require_may_handle(asker.viewer, boxes)
    access.require_places_handled(asker.viewer, [values["place"]])
    entry = make_fluid_by_recipe(by=asker.by, **values)
    return fluid_act_json(entry, boxes, _materials_of(entry))


def _spend(values: Json, asker: Asker) -> Json:
    access.require_may_handle(asker.viewer, [values["container"]])
    entry = spend(by=asker.by, **values)
    held = list_contents([values["container"]]).get(values["container"].pk, [])
    return fluid_act_json(entry, [values["container"]], [part.material for part in held])


def _part(row: Json) -> Line:
    end = End(row["place"], row["container"])
    return Line(row["material"], row["amount"], end, end)


RECORD_TEST = Act(
    name="record_fluid_test",
    summary="Record what was measured in a sample. It passes nothing; again under its id it is harmless.",
    record=Record(
        fields={
            **HEAD,
            "container": BOX,
            "results": listing(measured=_PROPERTY, value=Number(), unit=_UNIT),
            "document": NoteField(longest=200, default=""),
            "note": NoteField(default=""),
        }
    ),
    request="FluidTestRequest",
    answer="FluidTest",
    do=_record_test,
)
SET_LIMIT = Act(
    name="set_fluid_limit",
    summary="Approve between which values a property must lie, by safety; the limit before it is withdrawn.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "material": MATERIAL,
            "measured": _PROPERTY,
            "unit": _UNIT,
            "lowest": _END,
            "highest": _END,
        }
    ),
    request="FluidLimitRequest",
    answer="FluidLimit",
    do=_set_limit,
)
WITHDRAW_LIMIT = Act(
    name="withdraw_fluid_limit",
    summary="Withdraw a limit, by safety. Where none is left, no test passes the fluid.",
    record=Record(fields={"occurred_at": MomentField(), "material": MATERIAL, "measured": _PROPERTY}),
    request="FluidLimitWithdrawal",
    answer="FluidLimit",
    do=_withdraw_limit,
    status=200,
)
SET_POLICY = Act(
    name="set_fluid_policy",
    summary="Say whether and how often strained fluid may be used again untested, by safety.",
    record=Record(
        fields={
            "material": MATERIAL,
            "may_reuse_same_day": Flag(),
            "most_uses": Whole(limits=Limits(least=1, most=1000), default=1),
            "test_valid_days": Whole(limits=Limits(least=0, most=10_000), default=None, may_be_null=True),
        }
    ),
    request="FluidPolicyRequest",
    answer="FluidPolicy",
    do=_set_policy,
)
RELEASE = Act(
    name="release_fluid",
    summary="Pass what a vessel holds as fit for use: on its last test, or strained and untested for today.",
    record=Record(
        fields={**HEAD, "container": BOX, "basis": Choice(options=tuple(FluidRelease.Basis.values))}
    ),
    request="FluidReleaseRequest",
    answer="FluidRelease",
    do=_release,
)
STRAIN = Act(
    name="strain_fluid",
    summary="Strain recovered fluid from one vessel into another; the residue goes to a vessel of waste.",
    record=Record(
        fields={
            **HEAD,
            "source": BOX,
            "target": BOX,
            "taken": AMOUNT,
            "strained": AMOUNT,
            "residue": CONTAINER,
            "supplies": PARTS,
            "as_report": AS_REPORT,
            "reason": NoteField(default=""),
        }
    ),
    request="StrainingRequest",
    answer="FluidAct",
    do=_strain,
)
BLEND = Act(
    name="blend_fluid",
    summary="Strain or blend by a recipe, so many times.",
    record=Record(
        fields={
            **HEAD,
            "recipe": ReferenceField(noun="recipe"),
            "times": Whole(limits=Limits(least=1, most=10_000), default=1),
            "place": PLACE,
            "sources": Listing(item=BOX, most=MOST_LINES, default=[]),
            "target": BOX,
            "as_report": AS_REPORT,
            "reason": NoteField(default=""),
        }
    ),
    request="BlendingRequest",
    answer="FluidAct",
    do=_blend,
)
SPEND = Act(
    name="spend_fluid",
    summary="Declare what a vessel holds spent; from that day it gathers waste.",
    record=Record(fields={**HEAD, "container": BOX, "reason": NoteField()}),
    request="SpentFluidRequest",
    answer="FluidAct",
    do=_spend,
)
ACTS = (RECORD_TEST, SET_LIMIT, WITHDRAW_LIMIT, SET_POLICY, RELEASE, STRAIN, BLEND, SPEND)
