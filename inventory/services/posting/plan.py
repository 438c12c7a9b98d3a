"""From what is asked for to the rows of the book.

Works on a `Book` in memory and writes nothing, except that a lot is opened where goods of a material
costed by lot come in without one.
"""

from collections.abc import Sequence
from fractions import Fraction

from inventory.models import Place
from inventory.services.posting.book import Book
from inventory.services.posting.counts import plan_counts
from inventory.services.posting.flows import plan_flow
from inventory.services.posting.request import Flow, Posting
from inventory.services.posting.reversals import plan_reversal, refuse_reversed
from inventory.services.posting.scribe import Draft, Scribe
from inventory.services.posting.vessels import change_container


def plan(posting: Posting, book: Book) -> Draft:
    """Return the rows of an entry; the book in memory then stands as it will after it."""
    scribe = Scribe(posting, book)
    if posting.reverses is not None:
        refuse_reversed(posting.reverses)
        if not posting.flows:
            plan_reversal(scribe, posting.reverses)
            return scribe.draft
    for wish in posting.wishes:
        change_container(scribe, wish, purpose=wish.purpose)
    made_of, after = _part_at_products(posting.flows)
    for flow in made_of:
        if flow.source.place.kind != Place.Kind.PROCESS:
            plan_flow(scribe, flow)
    products = [flow for flow in made_of if flow.source.place.kind == Place.Kind.PROCESS]
    shares = _split(scribe.brought_to_process, [flow.weight for flow in products])
    for flow, value in zip(products, shares, strict=True):
        plan_flow(scribe, flow, value=value)
    for flow in after:
        plan_flow(scribe, flow)
    plan_counts(scribe)
    return scribe.draft


def _part_at_products(flows: Sequence[Flow]) -> tuple[Sequence[Flow], Sequence[Flow]]:
    """Part flows behind the last product of a conversion: what comes after it may take products further."""
    products = [number for number, flow in enumerate(flows) if flow.source.place.kind == Place.Kind.PROCESS]
    end = products[-1] + 1 if products else len(flows)
    return flows[:end], flows[end:]


def _split(total: int, weights: list[int]) -> list[int]:
    """Share a conversion's cost over its products by weight, to the last millionth."""
    whole = sum(weights)
    shares, given, seen = [], 0, 0
    for weight in weights:
        seen += weight
        upto = round(Fraction(total * seen, whole)) if whole else 0
        shares.append(upto - given)
        given = upto
    return shares
