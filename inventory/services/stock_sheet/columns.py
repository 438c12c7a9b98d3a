"""What a stock sheet may say, column by column."""

from decimal import Decimal

from inventory.models import Container, Material, Place
from inventory.sheets import Column

_LONGEST_DAYS = Decimal(36_500)

# Places of other kinds are made by the work itself, or with the installation.
INTRODUCED_PLACE_KINDS = (Place.Kind.WAREHOUSE, Place.Kind.BIN, Place.Kind.VEHICLE, Place.Kind.SITE)

_KINDS = {
    "fluid": (),
    "projectile": (),
    "fitting": (),
    "duct": (),
    "fibre": ("fibre cable", "fiber", "fiber cable"),
    "supply": ("shop supply", "supplies", "shop supplies"),
}
_ROLES = {
    "pressure_end": ("pressure end", "pressure-end fitting"),
    "exit_end": ("exit end", "exit", "exit fitting"),
    "union": (),
    "seal": (),
    "blank": ("blank to adapt",),
}
_COST_FORMULAS = {
    "fifo": ("first in first out",),
    "weighted_average": ("weighted average", "average"),
    "specific": ("specific cost",),
}


def _choices(
    choices: type[Place.Kind] | type[Container.Kind] | type[Container.State] | type[Container.ContentsState],
) -> dict[str, tuple[str, ...]]:
    return {choice.value: (str(choice.label),) for choice in choices}


MATERIAL_COLUMNS = (
    Column("name", ("material name", "description"), is_required=False),
    Column("kind", ("material kind",), kind="choice", choices=_KINDS, is_required=False),
    Column("stock_unit", ("stock unit", "counted in"), is_required=False, max_length=20),
    Column("cost_formula", ("cost formula",), kind="choice", choices=_COST_FORMULAS, is_required=False),
    Column("density", kind="decimal", is_positive=True, is_required=False),
    Column("diameter", ("nominal diameter",), dimension="length", is_positive=True, is_required=False),
    Column("cable_size", ("cable size", "size"), is_required=False, max_length=20),
    Column("role", ("fitting role",), kind="choice", choices=_ROLES, is_required=False),
    Column("reusable", ("is reusable",), kind="boolean", is_required=False),
    Column("inside_diameter", ("inside diameter",), dimension="length", is_positive=True, is_required=False),
    Column(
        "outside_diameter", ("outside diameter",), dimension="length", is_positive=True, is_required=False
    ),
    Column(
        "fibres",
        ("fibre count", "fibers", "fiber count"),
        kind="whole",
        is_positive=True,
        largest=Decimal(100_000),
        is_required=False,
    ),
    Column("mass", ("mass per unit", "weight"), dimension="mass", is_positive=True, is_required=False),
    Column("recovered_from", ("recovered from",), is_required=False, max_length=64),
    Column("hazardous", ("is hazardous",), kind="boolean", is_required=False),
    Column(
        "shelf_life",
        ("shelf life", "shelf life days"),
        kind="whole",
        is_positive=True,
        largest=_LONGEST_DAYS,
        is_required=False,
    ),
)
PLACE_COLUMNS = (
    Column(
        "place_kind",
        ("place kind", "kind of place"),
        kind="choice",
        choices={kind.value: (str(kind.label),) for kind in INTRODUCED_PLACE_KINDS},
        is_required=False,
    ),
    Column("inside", ("parent place", "inside place"), is_required=False, max_length=160),
)
# What is said of a container for good, and what a look at it may find changed.
CONTAINER_COLUMNS = (
    Column(
        "container_kind",
        ("container kind",),
        kind="choice",
        choices=_choices(Container.Kind),
        is_required=False,
    ),
    Column("capacity", kind="amount", is_positive=True, is_required=False),
    Column("heel", kind="amount", is_required=False),
    Column("tare", ("tare weight", "tare mass"), dimension="mass", is_required=False),
    Column("received", ("received date", "date received"), kind="date", is_required=False),
    Column("best_before", ("best before", "best before date"), kind="date", is_required=False),
)
READING_COLUMNS = (
    Column(
        "contents_state",
        ("contents state", "state of contents"),
        kind="choice",
        choices=_choices(Container.ContentsState),
        is_required=False,
    ),
    Column(
        "container_state",
        ("container state", "state of container"),
        kind="choice",
        choices=_choices(Container.State),
        is_required=False,
    ),
    Column("outer_mark", ("outer mark",), dimension="length", is_required=False),
    Column("inner_mark", ("inner mark",), dimension="length", is_required=False),
)
TERMS_COLUMNS = (
    Column("unit_price", ("unit price", "price"), kind="money", is_required=False),
    Column(
        "lead_time", ("lead time", "lead time days"), kind="decimal", largest=_LONGEST_DAYS, is_required=False
    ),
    Column(
        "lead_time_sd",
        ("lead time sd", "lead time sd days"),
        kind="decimal",
        largest=_LONGEST_DAYS,
        is_required=False,
    ),
    Column("pack", ("pack size",), kind="amount", is_positive=True, is_required=False),
    Column(
        "minimum",
        ("minimum order", "minimum order quantity", "minimum quantity"),
        kind="amount",
        is_required=False,
    ),
)
REFERENCE_COLUMNS = (
    Column("material_reference", ("material reference",), is_required=False, max_length=160),
    Column("container_reference", ("container reference",), is_required=False, max_length=160),
    Column("reference_system", ("reference system",), is_required=False, max_length=64),
)
COLUMNS = (
    Column("material", ("material code",), is_required=False, max_length=64),
    *REFERENCE_COLUMNS,
    *MATERIAL_COLUMNS,
    Column("place", ("place code", "location"), is_required=False, max_length=160),
    *PLACE_COLUMNS,
    Column("container", ("container label", "label"), is_required=False, max_length=64),
    *CONTAINER_COLUMNS,
    Column("owner", ("owner code",), is_required=False, max_length=64),
    *READING_COLUMNS,
    Column(
        "quantity",
        ("amount",),
        kind="amount",
        is_required=False,
        unit_spellings=("unit", "uom", "unit of measure"),
    ),
    Column("unit_cost", ("unit cost", "cost per unit"), kind="money", is_required=False),
    Column("supplier", ("supplier code",), is_required=False, max_length=64),
    *TERMS_COLUMNS,
)
# Plain numbers whose unit is fixed: another one in the header must not be taken for a remark.
HEADER_UNITS = {
    "density": ("kg/m3", "kg/m³", "kg/m^3", "kg per m3"),
    "shelf_life": ("days", "day", "d"),
    "lead_time": ("days", "day", "d"),
    "lead_time_sd": ("days", "day", "d"),
}
# Amounts that are counted in the material's own unit where the row says none.
IN_STOCK_UNIT = ("quantity", "capacity", "heel", "pack", "minimum")
# What each kind of material must say, and what only some kinds can say.
NEEDS = {
    Material.Kind.FLUID: ("density",),
    Material.Kind.PROJECTILE: ("diameter",),
    Material.Kind.FITTING: ("role",),
    Material.Kind.DUCT: ("outside_diameter",),
    Material.Kind.FIBRE: ("outside_diameter",),
    Material.Kind.SUPPLY: (),
}
ONLY_FOR = {
    "density": (Material.Kind.FLUID,),
    "recovered_from": (Material.Kind.FLUID,),
    "diameter": (Material.Kind.PROJECTILE,),
    "role": (Material.Kind.FITTING,),
    "fibres": (Material.Kind.FIBRE,),
}
COUNTED_IN = {
    Material.Kind.FLUID: ("[gal_us]", "L"),
    Material.Kind.PROJECTILE: ("1",),
    Material.Kind.FITTING: ("1",),
    Material.Kind.DUCT: ("[ft_i]", "m"),
    Material.Kind.FIBRE: ("[ft_i]", "m"),
}
