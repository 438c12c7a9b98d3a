"""A plain dictionary of what should lie where, to hold the book against. It calls nothing of the product.

A *pile* is what lies loose in one place, or in one vessel wherever it stands, of one material and owner.
What the model says of a pile follows from four sentences: what happened before the last count of it does
not change it any more; a report of more than is there leaves nothing; a count sets it to what was found,
with what happened since; undoing takes back what was done, unless a count came after.
"""

from dataclasses import dataclass, field

LOOSE = ""
REST = -1


@dataclass(frozen=True)
class Spot:
    """A place and a vessel in it by their names, no vessel for loose goods."""

    place: str
    vessel: str = LOOSE


@dataclass(frozen=True)
class Transfer:
    """So many millionths of a material of an owner from spot to spot; `REST` for all that is there."""

    material: str
    owner: str
    quantity: int
    source: Spot
    target: Spot
    returned: bool = False


@dataclass(frozen=True)
class Finding:
    spot: Spot
    material: str
    owner: str
    quantity: int


PileName = tuple[str, str, str, str]


@dataclass
class Change:
    """What one deed did to one pile. `short` is what the pile lacked and was taken as found."""

    deed: int
    moment: int
    amount: int
    short: int = 0


@dataclass
class Count:
    deed: int
    moment: int
    difference: int


@dataclass
class Pile:
    quantity: int = 0
    changes: list[Change] = field(default_factory=list)
    counts: list[Count] = field(default_factory=list)

    def last_count(self) -> Count | None:
        return max(self.counts, key=lambda count: (count.moment, count.deed), default=None)

    def is_settled_by_count(self, moment: int, deed: int) -> bool:
        """Whether a count tells of a later moment, or of the same one and was recorded after the deed."""
        return any(
            count.moment > moment or (count.moment == moment and count.deed > deed) for count in self.counts
        )


@dataclass
class Vessel:
    place: str
    owner: str
    moves: list[tuple[int, int]] = field(default_factory=list)


@dataclass
class Deed:
    """An entry as the model knows it, to undo it."""

    number: int
    moment: int
    piles: set[PileName] = field(default_factory=set)
    vessels: dict[str, tuple[str, str]] = field(default_factory=dict)
    touched: set[str] = field(default_factory=set)
    has_count: bool = False


class BookModel:
    def __init__(self, kept: set[str], stock: set[str]) -> None:
        self.kept = kept
        self.stock = stock
        self.piles: dict[PileName, Pile] = {}
        self.vessels: dict[str, Vessel] = {}
        self.deeds: dict[int, Deed] = {}

    def pile_name(self, spot: Spot, material: str, owner: str) -> PileName:
        place = LOOSE if spot.vessel else spot.place
        return (place, spot.vessel, material, owner)

    def pile(self, spot: Spot, material: str, owner: str) -> Pile:
        return self.piles.setdefault(self.pile_name(spot, material, owner), Pile())

    def contents(self, vessel: str) -> dict[PileName, Pile]:
        return {name: pile for name, pile in self.piles.items() if name[1] == vessel}

    # What is done

    def do(
        self,
        number: int,
        moment: int,
        *,
        transfers: list[Transfer] = [],  # noqa: B006 - never changed.
        moves: list[tuple[str, str]] = [],  # noqa: B006
        findings: list[Finding] = [],  # noqa: B006
        is_plan: bool = False,
    ) -> None:
        deed = Deed(number, moment, has_count=bool(findings))
        self.deeds[number] = deed
        for vessel, place in moves:
            self._move(deed, vessel, place)
        for transfer in transfers:
            self._transfer(deed, transfer, is_plan)
        for finding in findings:
            self._count(deed, finding)

    def _move(self, deed: Deed, name: str, place: str) -> None:
        """Move a vessel, unless it was moved or counted after the moment told of."""
        vessel = self.vessels[name]
        deed.touched.add(name)
        counted = [count.moment for pile in self.contents(name).values() for count in pile.counts]
        is_old = any(moment > deed.moment for moment in counted) or any(
            moment > deed.moment for moment, _deed in vessel.moves
        )
        if vessel.place == place or is_old:
            return
        before = deed.vessels.get(name, (vessel.place, ""))[0]
        deed.vessels[name] = (before, place)
        vessel.place = place
        vessel.moves.append((deed.moment, deed.number))

    def _reach(self, deed: Deed, spot: Spot, is_plan: bool) -> None:
        if spot.vessel:
            deed.touched.add(spot.vessel)
            if not is_plan and spot.place in self.stock:
                self._move(deed, spot.vessel, spot.place)

    def _transfer(self, deed: Deed, transfer: Transfer, is_plan: bool) -> None:
        self._reach(deed, transfer.source, is_plan)
        self._reach(deed, transfer.target, is_plan)
        source = self.pile(transfer.source, transfer.material, transfer.owner)
        quantity = source.quantity if transfer.quantity == REST else transfer.quantity
        if not quantity:
            return
        for spot, amount in ((transfer.source, -quantity), (transfer.target, quantity)):
            pile = self.pile(spot, transfer.material, transfer.owner)
            change = Change(deed.number, deed.moment, amount)
            deed.piles.add(self.pile_name(spot, transfer.material, transfer.owner))
            pile.changes.append(change)
            if pile.is_settled_by_count(deed.moment, deed.number):
                continue
            pile.quantity += amount
            if pile.quantity < 0 and spot.place in self.kept:
                assert not is_plan, f"a plan took {quantity} from {spot}, {pile.quantity} too many"
                change.short, pile.quantity = -pile.quantity, 0

    def _count(self, deed: Deed, finding: Finding) -> None:
        self._reach(deed, finding.spot, False)
        pile = self.pile(finding.spot, finding.material, finding.owner)
        deed.piles.add(self.pile_name(finding.spot, finding.material, finding.owner))
        last, before = pile.last_count(), pile.quantity
        if last is None or deed.moment >= last.moment:
            since = sum(change.amount for change in pile.changes if change.moment > deed.moment)
            pile.quantity = max(0, finding.quantity + since)
        pile.counts.append(Count(deed.number, deed.moment, pile.quantity - before))

    # What is undone

    def may_undo(self, number: int) -> bool:
        """Whether nothing else has met what the deed met since, so that undoing it cannot be refused."""
        deed = self.deeds[number]
        later = [other for other in self.deeds.values() if other.number > number]
        return not any(deed.piles & other.piles or deed.touched & other.touched for other in later)

    def undo(self, number: int, undoing: int) -> set[PileName]:
        """Undo a deed; return the piles of which the model cannot say what they hold now."""
        deed = self.deeds.pop(number)
        unsaid: set[PileName] = set()
        for name in deed.piles:
            pile = self.piles[name]
            last = pile.last_count()
            for count in [count for count in pile.counts if count.deed == number]:
                pile.counts.remove(count)
                if count is not last:
                    continue
                # A count of an earlier moment that was recorded later was kept as a reading only.
                if any(other.deed > number for other in pile.counts):
                    unsaid.add(name)
                pile.quantity -= count.difference
            for change in [change for change in pile.changes if change.deed == number]:
                pile.changes.remove(change)
                if not pile.is_settled_by_count(change.moment, number):
                    is_counted_since = last is not None and last.deed > number
                    pile.quantity -= change.amount + (0 if is_counted_since else change.short)
        for name, (before, _after) in deed.vessels.items():
            vessel = self.vessels[name]
            vessel.place = before
            vessel.moves = [move for move in vessel.moves if move[1] != number]
        # The undoing meets the same piles; nothing more is remembered of it.
        self.deeds[undoing] = Deed(undoing, deed.moment, set(deed.piles), {}, set(deed.touched))
        return unsaid
