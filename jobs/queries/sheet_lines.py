"""The lines of a pull sheet, and where along the cable they are wanted."""

from dataclasses import dataclass, field

from django.utils.translation import gettext_noop

from jobs.queries.kit_stock import Pick

# Where a thing is used, in the order in which people walk the cable; a sheet is grouped by this.
GROUPS = {
    "fluid": "pressure end",
    "pressure_end": "pressure end",
    "exit_end": "exit end",
    "catch": "exit end",
    "union": "cleaning",
    "projectile": "cleaning",
    "seal": "cleaning",
    "sweep": "cleaning",
    "fibre": "blowing",
    "duct": "blowing",
    "protective": "crew",
}
GROUP_ORDER = (
    gettext_noop("pressure end"),
    gettext_noop("exit end"),
    gettext_noop("cleaning"),
    gettext_noop("blowing"),
    gettext_noop("crew"),
)


@dataclass(frozen=True)
class SheetLine:
    """One thing the kit needs. Quantities in millionths of `unit`, a UCUM code; 1 for pieces.

    `to_take` is what is needed beyond what is on the truck, `short` what no pick covers. `there` are those
    on the truck that serve, `made` how much of it the picks make by a recipe. Of what is short, `help` says
    where else it lies and what will bring it; `elsewhere` are reels of other places that were chosen for it.
    """

    section: str
    title: str
    material_code: str
    owner_code: str
    unit: str
    needed: int
    on_truck: int
    to_take: int
    short: int
    picks: list[Pick]
    why: str
    first_position: int
    there: list[Pick] = field(default_factory=list)
    made: int = 0
    tags: tuple[str, ...] = ()
    help: str = ""
    elsewhere: list[Pick] = field(default_factory=list)

    @property
    def group(self) -> str:
        return GROUPS.get(self.section, "crew")


@dataclass(frozen=True)
class Cut:
    """One run off a reel. Marks are as people read them, empty where nobody knows them."""

    step: int
    title: str
    length: str
    quantity: int
    mark_from: str = ""
    mark_to: str = ""


@dataclass(frozen=True)
class CutList:
    """The cuts of one reel in the order of work. `held` and quantities in millionths of `unit`.

    `held` is what is on the reel before the first of them, `left` says what is left after the last.
    """

    reel: str
    place: str
    left: str
    held: int
    unit: str
    cuts: list[Cut] = field(default_factory=list)
    is_elsewhere: bool = False


def order_lines(lines: list[SheetLine]) -> list[SheetLine]:
    """By where they are used, in the order of work within that."""
    return sorted(lines, key=lambda line: (GROUP_ORDER.index(line.group), line.first_position))
