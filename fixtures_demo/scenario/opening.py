"""What lay in the yards and on the trucks when the book was opened, as stock sheets."""

from fixtures_demo.scenario.stock import MILLION, Stock
from fixtures_demo.scenario.world import BORES_MM, CREWS, YARDS, Row, list_materials, size_code, unit_cost

DRUM = {"container kind": "drum", "capacity": "55 gal", "heel": "0.5 gal", "tare": "41 lb"}
TOTE = {"container kind": "tote", "capacity": "1000 L", "heel": "2 gal", "tare": "130 lb"}
COLUMNS = (
    "material", "name", "kind", "stock unit", "cost formula", "density (kg/m3)", "diameter (mm)",
    "cable size", "role", "reusable", "inside diameter (mm)", "outside diameter (mm)", "fibres",
    "recovered from", "shelf life (days)", "place", "container", "container kind", "capacity", "heel",
    "tare", "owner", "contents state", "container state", "received", "outer mark", "inner mark",
    "quantity", "unit", "unit cost", "supplier", "lead time (days)", "lead time sd (days)", "pack",
    "minimum", "unit price",
)  # fmt: skip
RECEIVED = "2025-12-15"


def open_stock(stock: Stock) -> dict[str, list[Row]]:
    """The rows of each yard's sheet; the north yard's introduces the materials too."""
    sheets = {yard: _YardSheet(stock, yard).rows for yard in YARDS}
    sheets["north"] = [*list_materials(), *sheets["north"]]
    return sheets


class _YardSheet:
    """One yard with its trucks, written to rows and into the stock alike."""

    def __init__(self, stock: Stock, yard: str) -> None:
        self.stock, self.yard = stock, yard
        self.rows: list[Row] = []
        self._pieces()
        self._fluid()
        self._reels()
        for crew in CREWS:
            if crew.yard == yard:
                self._truck(crew.truck, crew.truck.removeprefix("truck-"))

    def _pieces(self) -> None:
        shelf = f"{self.yard}-shelf"
        for size in BORES_MM:
            for role, number in (("pressure", 2), ("exit", 2), ("union", 20)):
                self._loose(size_code(role, size), shelf, number)
        for material, number in (("seal", 60), ("blank-625", 5), ("gloves", 200), ("pads", 300)):
            self._loose(material, shelf, number)
        for code in ("foam-13", "foam-15", "foam-16", "foam-20", "foam-23"):
            self._loose(code, shelf, 50)
        self._loose("duct-16", shelf, 250, unit="ft")

    def _fluid(self) -> None:
        bay, letter = f"{self.yard}-bay", self.yard[0].upper()
        for number in range(1, 7):
            self._vessel("glide", bay, f"D-{letter}{number:02d}", DRUM, "55")
        self._vessel("glide", bay, f"FT-{letter}1", TOTE, "60", state="fresh", container_state="open")
        self._vessel("glide-back", bay, f"RT-{letter}1", TOTE, "40", state="caught", container_state="open")
        self._vessel("glide-back", bay, f"RD-{letter}1", DRUM, "48.5", state="tested", container_state="open")
        for number in range(1, 5):
            self._vessel("", bay, f"E-{letter}{number}", DRUM | {"capacity": "208.2 L", "heel": "2 L"}, "0")

    def _reels(self) -> None:
        reels = f"{self.yard}-reels"
        letter = self.yard[0].upper()
        if self.yard == "north":
            self._reel("fibre-48", reels, "F48-1", "10000", "ft", mark="10012")
        else:
            self._reel("fibre-72", reels, "F72-1", "4000", "m", mark="4003")
        self._reel("fibre-96", reels, f"NF-{letter}1", "12000", "ft", mark="12040", owner="northfen")

    def _truck(self, truck: str, number: str) -> None:
        self._vessel("glide", truck, f"D-T{number}", DRUM, "42.5", container_state="open")
        self._vessel("glide-back", truck, f"C-T{number}", DRUM, "0", state="caught", container_state="open")
        self._vessel("glide-back", truck, f"S-T{number}", DRUM, "0", state="caught", container_state="open")
        for size in BORES_MM:
            for role in ("pressure", "exit"):
                self._loose(size_code(role, size), truck, 2)
        self._loose("seal", truck, 8)

    def _loose(self, material: str, place: str, number: int, unit: str = "each") -> None:
        row = {"material": material, "place": place, "quantity": str(number), "unit": unit}
        self.rows.append(row | {"unit cost": unit_cost(material)})
        self.stock.add(place, material, "", number * MILLION)

    def _vessel(
        self, material: str, place: str, label: str, kind: Row, gallons: str, *, state: str = "",
        container_state: str = "",
    ) -> None:  # fmt: skip
        row = {"material": material, "place": place, "container": label} | kind
        row |= {"quantity": gallons, "received": RECEIVED, "contents state": state}
        row |= {"unit": "gal" if material else "L", "container state": container_state}
        if material and float(gallons):
            row["unit cost"] = "9.80" if material == "glide" else "6.00"
        self.rows.append(row)
        self.stock.standing[label] = place
        if material:
            self.stock.add(place, material, label, round(float(gallons) * MILLION))

    def _reel(
        self, material: str, place: str, label: str, length: str, unit: str, *, mark: str, owner: str = ""
    ) -> None:
        row = {"material": material, "place": place, "container": label, "container kind": "reel"}
        row |= {"capacity": f"{length} {unit}", "quantity": length, "unit": unit, "owner": owner}
        row |= {"outer mark": f"{mark} {unit}", "received": RECEIVED}
        if not owner:
            row["unit cost"] = unit_cost(material)
        self.rows.append(row)
        self.stock.standing[label] = place
        self.stock.add(place, material, label, int(length) * MILLION)
