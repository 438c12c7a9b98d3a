"""Why an entry is not taken. Reports of what happened meet only `EntryConflict`."""

from inventory.errors import BadInput, SpanstockError


class EntryConflict(SpanstockError):
    """The id was used before, for something else or by someone else."""

    code = "entry_conflict"


class LabelTaken(SpanstockError):
    """A new container cannot have the label of another."""

    code = "label_taken"


class NotEnoughHeld(SpanstockError):
    """A person plans to take more than is there and not promised to others."""

    code = "not_enough_held"


class PromisedToAnother(SpanstockError):
    """A person plans to take a container that is promised to someone else."""

    code = "promised_to_another"


class ContainerElsewhere(SpanstockError):
    """A person plans to take from, or pour into, a container that stands in another place."""

    code = "container_elsewhere"


class ContainerHoldsOther(SpanstockError):
    """A person plans to pour one material onto another, which only a conversion may do."""

    code = "container_holds_other"


class ContainerHeldBack(SpanstockError):
    """A person plans to use what is held back."""

    code = "container_held_back"


class FluidNotFit(SpanstockError):
    """A person plans to inject fluid that came back and was not passed as fit for use."""

    code = "fluid_not_fit"


class TooMuchForContainer(SpanstockError):
    """A person plans to pour more than the container takes."""

    code = "too_much_for_container"


class GoodsMovedOn(SpanstockError):
    """An entry cannot be reversed because what it brought has been taken further."""

    code = "goods_moved_on"


class AlreadyReversed(BadInput):
    """The entry was undone before, or is itself the undoing of another."""

    code = "already_reversed"


class BookBusy(SpanstockError):
    """Others kept writing the same rows first; the same request will be taken later."""

    code = "book_busy"


class WrongMaterial(BadInput):
    """A reel or lot is of one material for good; another cannot come from it or go into it."""

    code = "wrong_material"


class NothingToRevalue(SpanstockError):
    """Value is to move onto goods that are not there, or off goods that are not worth as much."""

    code = "nothing_to_revalue"
