"""Places that the sheet names, and the places that they lie in."""

from inventory.models import Place
from inventory.services.stock_sheet.columns import INTRODUCED_PLACE_KINDS
from inventory.services.stock_sheet.known import find_by_code
from inventory.services.stock_sheet.rows import Statement, StockRows, compare, fold_code, merge


class Places:
    """Every place that the sheet names, by folded code; one with a fault is left out."""

    def __init__(self, rows: StockRows) -> None:
        self.rows = rows
        self.new: list[Place] = []
        self.by_code: dict[str, Place] = {}
        naming = rows.naming("place")
        parents = [record["inside"] for record in rows.records if record["inside"]]
        named = [record["place"] for records in naming.values() for record in records]
        self._known = find_by_code(Place, [*named, *parents])
        statements = {
            code: merge(
                rows,
                "place",
                (
                    (
                        record,
                        {
                            "place_kind": record["place_kind"],
                            "inside": fold_code(record["inside"]) if record["inside"] else None,
                        },
                    )
                    for record in records
                ),
                records[0],
            )
            for code, records in naming.items()
        }
        for code, statement in statements.items():
            self._take(code, statement)
        for code, statement in statements.items():
            self._set_parent(code, statement)

    def find(self, code: str | None) -> Place | None:
        return self.by_code.get(fold_code(code)) if code else None

    def save(self) -> None:
        """Save the new ones, each after the place that it lies in."""
        waiting = list(self.new)
        while waiting:
            for place in waiting:
                if place.parent is None or place.parent.pk:
                    place.save(force_insert=True)
            waiting = [place for place in waiting if not place.pk]

    def _take(self, code: str, statement: Statement) -> None:
        known = self._known.get(code)
        if known is None:
            self._introduce(code, statement)
            return
        if not known.is_stock:
            message = f"is a {known.get_kind_display()}; stock lies in a warehouse, bin, vehicle or site"
            self.rows.complain(statement.first, "place", message)
            return
        parent = fold_code(known.parent.code) if known.parent else None
        on_file = {"place_kind": known.kind, "inside": parent}
        compare(self.rows, f"place {known.code}", statement, on_file)
        self.by_code[code] = known

    def _introduce(self, code: str, statement: Statement) -> None:
        kind = statement.values.get("place_kind")
        if kind is None:
            if not self.rows.is_doubtful("place", code):
                kinds = ", ".join(str(kind.label) for kind in INTRODUCED_PLACE_KINDS)
                message = f"is not known yet; say in the column place kind what it is: {kinds}"
                self.rows.complain(statement.first, "place", message)
            return
        if kind == Place.Kind.BIN and "inside" not in statement.values:
            if not self.rows.is_doubtful("place", code):
                message = "is needed for a bin; name the place that it is in"
                self.rows.complain(statement.first, "inside", message)
            return
        name = statement.first["place"]
        place = Place(code=name, name=name, kind=kind)
        self.by_code[code] = place
        self.new.append(place)

    def _set_parent(self, code: str, statement: Statement) -> None:
        place, parent_code = self.by_code.get(code), statement.values.get("inside")
        if place is None or parent_code is None or place.pk:
            return
        parent = self.by_code.get(parent_code) or self._known.get(parent_code)
        record = statement.where("inside")
        if parent is None:
            if not self.rows.is_doubtful("place", parent_code):
                message = "is not a place known here or on this sheet; give it a row of its own"
                self.rows.complain(record, "inside", message)
        elif not parent.is_stock:
            message = f"is a {parent.get_kind_display()}; a {place.get_kind_display()} cannot lie in it"
            self.rows.complain(record, "inside", message)
        elif _leads_back(parent, place):
            self.rows.complain(record, "inside", "leads back to the place itself")
        else:
            place.parent = parent


def _leads_back(parent: Place, place: Place) -> bool:
    link: Place | None = parent
    while link is not None and link is not place:
        link = link.parent
    return link is place
