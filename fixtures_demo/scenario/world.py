"""Who and what there is: an invented contractor, its yards, trucks, goods and suppliers. No persons."""

from dataclasses import dataclass
from datetime import date
from typing import Any

TODAY = date(2026, 6, 30)
FIRST_DAY = date(2026, 1, 5)
TIME_ZONE = "America/Chicago"
CURRENCY = "USD"

COMPANY = {
    "code": "eastmarch",
    "name": "Eastmarch Conduit (invented)",
    "currency": CURRENCY,
    "time_zone": TIME_ZONE,
    "uses_metric": False,
}
SUPPLIERS = {
    "pell-fluids": "Pell Fluids",
    "corrow-fittings": "Corrow Fittings",
    "dunhar-foam": "Dunhar Foam",
    "brack-reels": "Brack Reels",
    "oller-supply": "Oller Site Supply",
}
CUSTOMERS = {
    "northfen": "Northfen Network",
    "tallowmere": "Tallowmere Town Network",
    "ashwick": "Ashwick Cable District",
}
YARDS = ("north", "south")
PLACES: list[dict[str, Any]] = [
    {"code": "north-yard", "name": "North yard", "kind": "warehouse"},
    {"code": "north-shelf", "name": "North yard, shelf", "kind": "bin", "inside": "north-yard"},
    {"code": "north-bay", "name": "North yard, fluid bay", "kind": "bin", "inside": "north-yard"},
    {"code": "north-reels", "name": "North yard, reels", "kind": "bin", "inside": "north-yard"},
    {"code": "south-yard", "name": "South yard", "kind": "warehouse"},
    {"code": "south-shelf", "name": "South yard, shelf", "kind": "bin", "inside": "south-yard"},
    {"code": "south-bay", "name": "South yard, fluid bay", "kind": "bin", "inside": "south-yard"},
    {"code": "south-reels", "name": "South yard, reels", "kind": "bin", "inside": "south-yard"},
    *(
        {
            "code": f"truck-{number}",
            "name": f"Truck {number}",
            "kind": "vehicle",
            "inside": f"{'north' if number <= 2 else 'south'}-yard",
            "payload_kg": 2200,
        }
        for number in (1, 2, 3, 4)
    ),
]


@dataclass(frozen=True)
class Crew:
    """A crew, its truck and yard, and the job that it works on."""

    code: str
    name: str
    truck: str
    yard: str
    job: str


CREWS = (
    Crew("crew-1", "Crew 1", "truck-1", "north", "MILLBROOK"),
    Crew("crew-2", "Crew 2", "truck-2", "north", "HARBOR"),
    Crew("crew-3", "Crew 3", "truck-3", "south", "KESTREL"),
    Crew("crew-4", "Crew 4", "truck-4", "south", "MILLBROOK"),
)


@dataclass(frozen=True)
class JobPlan:
    """A job and the file its spans come in."""

    reference: str
    name: str
    customer: str
    prefix: str
    unit: str
    file: str
    fibre: str
    fibre_owner: str
    names_runs: bool = True


JOBS = (
    JobPlan(
        "MILLBROOK", "Millbrook east and west", "northfen", "MB", "ft", "spans_millbrook.csv",
        "fibre-96", "northfen",
    ),
    JobPlan(
        "HARBOR", "Harbor road feeders", "tallowmere", "HR", "ft", "spans_harbor.xlsx", "fibre-48",
        "eastmarch",
    ),
    JobPlan(
        "KESTREL", "Kestrel hill", "ashwick", "KH", "m", "spans_kestrel_metric.csv", "fibre-72",
        "eastmarch", False,
    ),
)  # fmt: skip

# Inside diameters of the sheath in mm: outside diameter less two walls, nominal (common practice).
BORES_MM = {
    ".500": 11.4808,
    ".540": 13.0302,
    ".625": 14.351,
    ".715": 17.4244,
    ".750": 17.272,
    ".875": 20.2946,
}
PROJECTILES = {
    ".500": "foam-13",
    ".540": "foam-15",
    ".625": "foam-16",
    ".715": "foam-20",
    ".750": "foam-20",
    ".875": "foam-23",
}
SIZES_OF_JOB = {
    "MILLBROOK": (".500", ".625", ".750"),
    "HARBOR": (".500", ".750", ".875"),
    "KESTREL": (".540", ".715", ".625"),
}

Row = dict[str, str]


def size_code(role: str, size: str) -> str:
    """'union', '.625' -> 'union-625'."""
    return f"{role}-{size.removeprefix('.')}"


def list_materials() -> list[Row]:
    """What is bought and used, with one supplier's terms each."""
    return [*_fluids(), *_projectiles(), *_fittings(), *_lengths(), *_supplies()]


def unit_cost(code: str) -> str:
    """What one stock unit costs, as text; nothing for goods that others furnish."""
    return next(
        row["unit price"] for row in list_materials() if row["material"] == code and "unit price" in row
    )


def _terms(supplier: str, price: str, days: str, spread: str, pack: str, minimum: str) -> Row:
    return {
        "supplier": supplier,
        "unit price": price,
        "lead time (days)": days,
        "lead time sd (days)": spread,
        "pack": pack,
        "minimum": minimum,
    }


def _fluids() -> list[Row]:
    fresh = {
        "material": "glide",
        "name": "Extraction fluid, water based",
        "kind": "fluid",
        "stock unit": "gal",
        "density (kg/m3)": "1012",
        "shelf life (days)": "730",
    } | _terms("pell-fluids", "9.80", "6", "1.5", "55", "110")
    recovered = {
        "material": "glide-back",
        "name": "Extraction fluid, recovered",
        "kind": "fluid",
        "stock unit": "gal",
        "density (kg/m3)": "1012",
        "recovered from": "glide",
    }
    return [fresh, recovered]


def _projectiles() -> list[Row]:
    kinds = (("13", "13"), ("15", "15"), ("16", "16.5"), ("20", "20"), ("23", "23.5"))
    return [
        {
            "material": f"foam-{code}",
            "name": f"Foam projectile {diameter} mm",
            "kind": "projectile",
            "diameter (mm)": diameter,
        }
        | _terms("dunhar-foam", "1.90", "10", "2", "25", "50")
        for code, diameter in kinds
    ]


def _fittings() -> list[Row]:
    roles = (
        ("pressure", "Pressure-end fitting", "pressure end", "yes", "64.00", ("12", "3", "2", "2")),
        ("exit", "Exit fitting", "exit end", "yes", "41.00", ("12", "3", "2", "2")),
        ("union", "Union", "union", "no", "18.50", ("9", "2", "5", "10")),
    )
    found = []
    for size in BORES_MM:
        for role, title, word, reusable, price, (days, spread, pack, minimum) in roles:
            found.append(
                {
                    "material": size_code(role, size),
                    "name": f"{title} {size}",
                    "kind": "fitting",
                    "cable size": size,
                    "role": word,
                    "reusable": reusable,
                }
                | _terms("corrow-fittings", price, days, spread, pack, minimum)
            )
    seal = {"material": "seal", "name": "End seal", "kind": "fitting", "role": "seal", "reusable": "no"}
    blank = {
        "material": "blank-625",
        "name": "Pin connector .625 to adapt",
        "kind": "fitting",
        "cable size": ".625",
        "role": "blank to adapt",
        "reusable": "no",
    }
    found.append(seal | _terms("corrow-fittings", "2.20", "9", "2", "20", "40"))
    found.append(blank | _terms("corrow-fittings", "28.00", "9", "2", "5", "5"))
    return found


def _lengths() -> list[Row]:
    cables = (
        ("fibre-48", "48", "6.4", "ft", "0.42", "10000"),
        ("fibre-72", "72", "7.2", "m", "1.65", "4000"),
    )
    found = [
        {
            "material": code,
            "name": f"Fibre cable {fibres}",
            "kind": "fibre",
            "stock unit": unit,
            "outside diameter (mm)": outside,
            "fibres": fibres,
        }
        | _terms("brack-reels", price, "21", "4", reel, reel)
        for code, fibres, outside, unit, price, reel in cables
    ]
    furnished = {
        "material": "fibre-96",
        "name": "Fibre cable 96",
        "kind": "fibre",
        "stock unit": "ft",
        "outside diameter (mm)": "7.9",
        "fibres": "96",
    }
    duct = {
        "material": "duct-16",
        "name": "Duct stub 16 mm",
        "kind": "duct",
        "stock unit": "ft",
        "inside diameter (mm)": "12",
        "outside diameter (mm)": "16",
    } | _terms("brack-reels", "0.65", "7", "1", "250", "250")
    return [*found, furnished, duct]


def _supplies() -> list[Row]:
    goods = (("gloves", "Gloves, pair", "3.10", "100"), ("pads", "Absorbent pad", "0.85", "100"))
    return [
        {"material": code, "name": name, "kind": "supply", "stock unit": "each"}
        | _terms("oller-supply", price, "3", "0.5", pack, pack)
        for code, name, price, pack in goods
    ]
