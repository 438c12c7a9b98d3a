"""In which units one person reads: as goods are counted, or all of them US or metric."""

from dataclasses import dataclass

from api.models import User
from inventory.units import format_millionths, get_unit

US = {
    "volume": "[gal_us]",
    "length": "[ft_i]",
    "mass": "[lb_av]",
    "pressure": "[psi]",
    "temperature": "[degF]",
}
METRIC = {"volume": "L", "length": "m", "mass": "kg", "pressure": "bar", "temperature": "Cel"}
CHOICES: dict[str, dict[str, str]] = {User.Units.US: US, User.Units.METRIC: METRIC}


@dataclass(frozen=True)
class ShownUnits:
    """A person's choice; empty for the unit in which each thing is counted."""

    choice: str = ""

    def unit_for(self, unit: str) -> str:
        """The unit in which what is kept in `unit` is shown to this person."""
        return CHOICES.get(self.choice, {}).get(get_unit(unit).dimension, unit)

    def write(self, millionths: int, unit: str) -> str:
        """A stored quantity as this person reads it; pieces bare."""
        return format_millionths(millionths, unit, self.unit_for(unit)).removesuffix(" each")
