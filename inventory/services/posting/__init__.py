"""How entries get into the book: `post` is the only writer of entries, movements, holdings and cost pools."""

from inventory.services.posting.errors import (
    AlreadyReversed,
    ContainerElsewhere,
    ContainerHeldBack,
    ContainerHoldsOther,
    EntryConflict,
    FluidNotFit,
    GoodsMovedOn,
    LabelTaken,
    NotEnoughHeld,
    PromisedToAnother,
    TooMuchForContainer,
    WrongMaterial,
)
from inventory.services.posting.post import post
from inventory.services.posting.request import REST, ContainerWish, CountLine, End, Flow, Posting, Rest

__all__ = [
    "REST",
    "AlreadyReversed",
    "ContainerElsewhere",
    "ContainerHeldBack",
    "ContainerHoldsOther",
    "ContainerWish",
    "CountLine",
    "End",
    "EntryConflict",
    "Flow",
    "FluidNotFit",
    "GoodsMovedOn",
    "LabelTaken",
    "NotEnoughHeld",
    "Posting",
    "PromisedToAnother",
    "Rest",
    "TooMuchForContainer",
    "WrongMaterial",
    "post",
]
