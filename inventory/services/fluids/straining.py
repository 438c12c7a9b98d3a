"""Straining and blending: recovered fluid made usable by what goes through the strainer or joins it."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Place, Recipe
from inventory.services.conversions import convert, convert_by_recipe
from inventory.services.fluids.contents import get_recovered_contents, require_state, was_taken
from inventory.services.lines import Line, quantity_of
from inventory.services.posting import ContainerWish, End
from inventory.services.posting.vessels import mix_states
from inventory.units import Amount, from_millionths

State = Container.ContentsState
UNSTRAINED = (State.CAUGHT, State.STRAINED, State.TESTED, State.FIT)


def strain(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    source: Container,
    target: Container,
    taken: Amount,
    strained: Amount,
    residue: Container | None = None,
    supplies: Sequence[Line] = (),
    as_report: bool = False,
    reason: str = "",
) -> Entry:
    """Strain recovered fluid from one vessel into another; its contents are strained from then on.

    What is taken and does not come through stays in the strainer: it goes to `residue`, a vessel of waste,
    at no cost, since the fluid that came through bears what the whole cost. `supplies` are used up.
    """
    require_standing(source, target, residue)
    material = get_recovered_contents(source) if not was_taken(by, id) else _material_of(id)
    if not as_report and not was_taken(by, id):
        require_state(source, UNSTRAINED, "strained")
    lost = _difference(taken, strained, material)
    inputs = [_part(material, taken, source), *supplies]
    outputs = [_part(material, strained, target)]
    wishes = [ContainerWish(target, contents_state=_state_with(target, source))]
    if lost is not None:
        if residue is None:
            message = f"{lost} did not come through; name the vessel of waste that it is in"
            raise BadInput.of([Fault("/residue", "", message)])
        outputs.append(_part(material, lost, residue, purpose=Movement.Purpose.LOST))
        wishes.append(ContainerWish(residue, contents_state=State.SPENT))
    return convert(
        id=id,
        by=by,
        occurred_at=occurred_at,
        inputs=inputs,
        outputs=outputs,
        wishes=wishes,
        as_report=as_report,
        reason=reason or "strained",
    )


def make_fluid_by_recipe(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    recipe: Recipe,
    times: int,
    place: Place,
    sources: Sequence[Container],
    target: Container,
    as_report: bool = False,
    reason: str = "",
) -> Entry:
    """Strain or blend by a recipe; what comes of recovered fluid is strained, and fit only after a test.

    `sources` are the vessels that the recipe's fluids are taken from, one a material; the rest of what it
    takes lies loose at the place.
    """
    require_standing(*sources, target)
    made = [line.material for line in recipe.lines.filter(is_output=True).select_related("material")]
    fluids = [material for material in made if material.kind == Material.Kind.FLUID]
    if len(fluids) != 1:
        message = "makes no single fluid; this is for recipes that strain or blend into one"
        raise BadInput.of([Fault("/recipe", recipe.code, message)])
    wishes = []
    if fluids[0].recovered_from_id is not None:
        source = target if target in sources else None
        wishes = [ContainerWish(target, contents_state=_state_with(target, source))]
    return convert_by_recipe(
        id=id,
        by=by,
        occurred_at=occurred_at,
        recipe=recipe,
        times=times,
        place=place,
        containers=_by_material(recipe, sources, is_repeat=was_taken(by, id)),
        targets={fluids[0].pk: target},
        wishes=wishes,
        as_report=as_report,
        reason=reason,
    )


def require_standing(*containers: Container | None) -> None:
    """Refuse a lot or reel, which no fluid can be poured from or into."""
    for container in containers:
        if container is not None and (not container.stands_somewhere or container.kind == "reel"):
            message = f"is a {container.get_kind_display()}; name the vessel itself"
            raise BadInput.of([Fault("/container", str(container), message)])


def _material_of(id: UUID) -> Material:
    """The fluid of a straining that was taken before."""
    rows = Movement.objects.filter(entry__uuid=id, purpose=Movement.Purpose.CONVERTED)
    row = rows.filter(material__recovered_from__isnull=False).select_related("material").first()
    if row is None:
        raise BadInput(f"The id {id} stands for something else than a straining. Use a new one.")
    return row.material


def _by_material(recipe: Recipe, sources: Sequence[Container], *, is_repeat: bool) -> dict[int, Container]:
    """The vessel of each fluid that the recipe takes."""
    found: dict[int, Container] = {}
    wanted = {line.material_id for line in recipe.lines.filter(is_output=False)}
    for number, source in enumerate(sources):
        held = source.holdings.filter(material__in=wanted)
        if not is_repeat:
            held = held.filter(quantity__gt=0)
        materials = set(held.values_list("material", flat=True))
        if len(materials) != 1 or materials & set(found):
            message = "must hold one of the recipe's materials that no other vessel named here holds"
            raise BadInput.of([Fault(f"/sources/{number}", str(source), message)])
        found[materials.pop()] = source
    return found


def _part(
    material: Material, amount: Amount, box: Container, *, purpose: Movement.Purpose | None = None
) -> Line:
    assert box.place is not None
    end = End(box.place, box)
    return Line(material, amount, end, end, purpose)


def _difference(taken: Amount, strained: Amount, material: Material) -> Amount | None:
    quantities = [
        quantity_of(amount, material, pointer=pointer)
        for amount, pointer in ((taken, "/taken"), (strained, "/strained"))
    ]
    before, after = (quantity for quantity in quantities if isinstance(quantity, int))
    if after > before:
        message = f"is more than the {taken} that was taken; straining adds nothing"
        raise BadInput.of([Fault("/strained", str(strained), message)])
    unit = material.stock_unit
    return Amount(from_millionths(before - after, unit), unit) if before > after else None


def _state_with(target: Container, source: Container | None) -> str:
    """The state of strained fluid in a vessel, which what stands in it already may spoil."""
    target.refresh_from_db(fields=["contents_state"])
    inside = target.holdings.filter(quantity__gt=0).exists()
    is_alone = target == source or not inside
    return State.STRAINED.value if is_alone else mix_states(target.contents_state, State.STRAINED)
