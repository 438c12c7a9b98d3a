"""Every act there is; one that is declared and not here fails at both doors."""

from tests.api.acts.case import ActCase
from tests.api.acts.day import DAY_ACTS
from tests.api.acts.fluids import FLUID_ACTS
from tests.api.acts.kits import KIT_ACTS
from tests.api.acts.quarantines import QUARANTINE_ACTS
from tests.api.acts.recovery import RECOVERY_ACTS
from tests.api.acts.settings import SETTINGS_ACTS
from tests.api.acts.supply import SUPPLY_ACTS
from tests.api.acts.waste import WASTE_ACTS

_AREAS: dict[str, dict[str, ActCase]] = {
    "supply": SUPPLY_ACTS,
    "fluids": FLUID_ACTS,
    "quarantines": QUARANTINE_ACTS,
    "waste": WASTE_ACTS,
    "recovery": RECOVERY_ACTS,
    "settings": SETTINGS_ACTS,
    "day": DAY_ACTS,
    "kits": KIT_ACTS,
}
# Named by area, since two areas may well call an act the same.
ACTS: dict[str, ActCase] = {
    f"{area}: {name}": case for area, cases in _AREAS.items() for name, case in cases.items()
}
