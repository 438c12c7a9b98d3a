"""Acts on recovered fluid: tests, limits, releases, straining, blending."""

from typing import Any

from inventory.models import Container, Recipe, RecipeLine
from tests.api.acts.case import AT, OWN, YARD_ONLY, ActCase, Json, gallons, head
from tests.factories.accounts import Office
from tests.factories.fluids import allow_same_day, approve_limits, catch, inject, make_vessel

SAFETY_ONLY = (401, 403, 403, 403, 403, 201, 403)


def caught(
    office: Office, label: str = "C-north", state: str = "caught", *, in_yard: bool = False
) -> Container:
    """A vessel with ten gallons that came back today, on the north truck or in the yard."""
    world = office.world
    place = world.warehouse if in_yard else office.crew.vehicle
    drum = Container.objects.get(label="D-1" if in_yard else "D-north")
    box = make_vessel(world, label, place=place)
    inject(world, drum, 12, hours=5)
    catch(world, box, 10, hours=6)
    Container.objects.filter(pk=box.pk).update(contents_state=state)
    return box


def a_test(office: Office, **fields: Any) -> Json:
    caught(office, state="strained")
    approve_limits(office.world)
    results = [
        {"measured": "pH", "value": 8.1},
        {"measured": "solids", "value": 120, "unit": "mg/L"},
    ]
    return {**head(), "container": "C-north", "results": results, **fields}


def a_limit(office: Office, **fields: Any) -> Json:
    return {
        "occurred_at": AT,
        "material": "fluid-recovered",
        "measured": "pH",
        "lowest": 7.0,
        "highest": 9.5,
        **fields,
    }


def a_withdrawal(office: Office) -> Json:
    approve_limits(office.world)
    return {"occurred_at": AT, "material": "fluid-recovered", "measured": "pH"}


def a_policy(office: Office, **fields: Any) -> Json:
    return {"material": "fluid-recovered", "may_reuse_same_day": True, "most_uses": 2, **fields}


def a_release(office: Office, **fields: Any) -> Json:
    caught(office, state="strained")
    allow_same_day(office.world)
    return {**head(), "container": "C-north", "basis": "same_day", **fields}


def a_foreign_release(office: Office) -> Json:
    caught(office, "C-yard", state="strained", in_yard=True)
    allow_same_day(office.world)
    return {**head(), "container": "C-yard", "basis": "same_day"}


def a_straining(office: Office, **fields: Any) -> Json:
    caught(office)
    for label in ("S-north", "W-north"):
        make_vessel(office.world, label, place=office.crew.vehicle)
    return {
        **head(),
        "source": "C-north",
        "target": "S-north",
        "residue": "W-north",
        "taken": gallons("10"),
        "strained": gallons("9.5"),
        **fields,
    }


def a_blending(office: Office, **fields: Any) -> Json:
    """Ten gallons of recovered fluid into ten gallons by a recipe of one to one."""
    caught(office)
    make_vessel(office.world, "B-north", place=office.crew.vehicle)
    recipe = Recipe.objects.create(code="strain", name="Strain recovered fluid")
    for is_output in (False, True):
        RecipeLine.objects.create(
            recipe=recipe, material=office.world.recovered, quantity=5_000_000, is_output=is_output
        )
    return {
        **head(),
        "recipe": "strain",
        "times": 2,
        "place": "truck-north",
        "sources": ["C-north"],
        "target": "B-north",
        **fields,
    }


def a_spending(office: Office, **fields: Any) -> Json:
    caught(office)
    return {**head(), "container": "C-north", "reason": "full of grit", **fields}


FLUID_ACTS: dict[str, ActCase] = {
    "test": ActCase("recordFluidTest", "fluid-tests", a_test, YARD_ONLY),
    "limit": ActCase("setFluidLimit", "fluid-limits", a_limit, SAFETY_ONLY),
    "withdraw a limit": ActCase(
        "withdrawFluidLimit",
        "fluid-limits/withdrawal",
        a_withdrawal,
        (401, 403, 403, 403, 403, 200, 403),
    ),
    "policy": ActCase("setFluidPolicy", "fluid-policies", a_policy, SAFETY_ONLY),
    "pass for the same day": ActCase("releaseFluid", "fluid-releases", a_release, OWN),
    "pass another's": ActCase(
        "releaseFluid", "fluid-releases", a_foreign_release, (401, 201, 400, 403, 403, 403, 201)
    ),
    "strain": ActCase("strainFluid", "strainings", a_straining, OWN),
    "blend": ActCase("blendFluid", "blendings", a_blending, OWN),
    "spend": ActCase("spendFluid", "spent-fluid", a_spending, OWN),
}
