"""What the acts on recovered fluid have in common: what a vessel holds, in which state, and changing that."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Container, Entry, Holding, Material
from inventory.queries.recorded import is_recorded_by
from inventory.services.posting import ContainerWish, Posting, post

State = Container.ContentsState


class WrongContents(SpanstockError):
    """What is in the container is not in the state that this act begins with."""

    code = "wrong_contents"


def get_recovered_contents(container: Container) -> Material:
    """Return the one recovered fluid that a container holds.

    Raises
    ------
    BadInput
        If it holds nothing, several things, or something that is no recovered fluid.
    """
    rows = Holding.objects.filter(container=container, quantity__gt=0).select_related("material")
    materials = {row.material_id: row.material for row in rows}
    if len(materials) != 1:
        message = "holds several materials" if materials else "holds nothing"
        raise BadInput.of([Fault("/container", str(container), message)])
    (material,) = materials.values()
    if material.recovered_from_id is None:
        message = f"holds {material}, which is not the recovered form of a fluid"
        raise BadInput.of([Fault("/container", str(container), message)])
    return material


def require_state(container: Container, states: Collection[str], act: str) -> None:
    """Refuse an act on contents in another state than it begins with."""
    container.refresh_from_db(fields=["contents_state", "state"])
    if container.contents_state not in states:
        wanted = " or ".join(State(state).label for state in states)
        raise WrongContents(
            f"What is in {container} is {container.get_contents_state_display()}; "
            f"only what is {wanted} can be {act}."
        )


def require_not_held(container: Container, act: str) -> None:
    """Refuse to make fit what a quarantine holds back."""
    if container.state == Container.State.HELD:
        raise WrongContents(f"{container} is held back; nothing in it can be {act} until that is lifted.")


def change_contents(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    containers: Sequence[Container],
    contents_state: str,
    reason: str,
    document: str = "",
) -> Entry:
    """Post what is known now of what is in these containers; nothing moves."""
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.REPORT,
        occurred_at=occurred_at,
        by=by,
        wishes=tuple(ContainerWish(box, contents_state=contents_state) for box in containers),
        reason=reason,
        document=document,
    )
    return post(posting)


def was_taken(by: Actor, id: UUID) -> bool:
    """Whether this very act was recorded before, so that the state it began with is no longer looked for."""
    return is_recorded_by(by, id)
