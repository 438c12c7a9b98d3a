"""What other systems call the materials and containers of a sheet."""

from collections.abc import Callable

from inventory.models import Container, Material
from inventory.queries.references import find_taken, noun_of
from inventory.services.references import DEFAULT_SYSTEM, set_reference
from inventory.services.stock_sheet.containers import Containers
from inventory.services.stock_sheet.materials import Materials
from inventory.services.stock_sheet.rows import StockRows, fold_code
from inventory.sheets import Record

# By system and identifier the record's folded code, and the row that says so first.
Named = dict[tuple[str, str], tuple[str, Record]]


class References:
    """The names of a sheet, each for one record; saved once the records have their keys."""

    def __init__(self, rows: StockRows, materials: Materials, containers: Containers) -> None:
        self.rows = rows
        self._containers = containers
        self._materials = materials
        self._named: dict[str, Named] = {}
        self._read("material", type_of=Material, find=materials.find)
        self._read("container", type_of=Container, find=containers.find)

    def save(self) -> None:
        for (system, identifier), (code, _record) in self._named["material"].items():
            material = self._materials.by_code[code]
            set_reference(system=system, identifier=identifier, record=material)
        for (system, identifier), (label, _record) in self._named["container"].items():
            container = self._containers.by_label[label]
            # An empty vessel that no entry brought is not in the book.
            if container.pk is not None:
                set_reference(system=system, identifier=identifier, record=container)

    def _read(
        self,
        column: str,
        *,
        type_of: type[Material] | type[Container],
        find: Callable[[str | None], Material | Container | None],
    ) -> None:
        named: Named = {}
        called: dict[tuple[str, str], str] = {}
        for record in self.rows.records:
            identifier = record[f"{column}_reference"]
            if not identifier:
                continue
            if not record[column]:
                self.rows.complain(record, column, f"is empty, and the row has a {column} reference; name it")
                continue
            system, code = record["reference_system"] or DEFAULT_SYSTEM, fold_code(record[column])
            other, first = named.setdefault((system, identifier), (code, record))
            before = called.setdefault((system, code), identifier)
            if other != code:
                message = f"is what line {first.line} calls {first[column]}; give this one its own"
                self.rows.complain(record, f"{column}_reference", message)
            elif before != identifier:
                message = f"{system} calls the same {column} {before} in another row; make them agree"
                self.rows.complain(record, f"{column}_reference", message)
        self._named[column] = {
            name: said for name, said in named.items() if find(said[1][column]) is not None
        }
        taken = find_taken(noun_of(type_of), named)
        for name, key in taken.items():
            code, record = named[name]
            found = find(record[column])
            if found is not None and found.pk != key:
                message = f"is what {name[0]} calls another {column} already; give this one its own"
                self.rows.complain(record, f"{column}_reference", message)
