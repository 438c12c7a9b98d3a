"""What the company has set, field by field, in the form in which it is set again."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from inventory.models import Material
from jobs.models import EstimatingPolicy, KitPolicy
from jobs.queries.jobs import get_policy

# Fields that are quantities: how they are called at a door, and in which unit they are kept.
QUANTITIES = {
    "stub_m": ("stub", "m"),
    "hose_and_tank_l": ("hose_and_tank", "L"),
    "lifting_limit_kg": ("lifting_limit", "kg"),
    "vessel_capacity_l": ("vessel_capacity", "L"),
    "useful_remnant_m": ("useful_remnant", "m"),
    "set_up_volume_l": ("set_up_volume", "L"),
    "tail_m": ("tail", "m"),
    "slack_m": ("slack", "m"),
}


@dataclass(frozen=True)
class Setting:
    """One setting by the name of its field. `unit` is that of a quantity, empty for anything else."""

    name: str
    value: Any
    unit: str = ""

    @property
    def pointer(self) -> str:
        return f"/{QUANTITIES.get(self.name, (self.name, ''))[0]}"

    @property
    def shown(self) -> Any:
        """The value in JSON's own types."""
        if isinstance(self.value, Material):
            return self.value.code
        if self.name == "tagged_materials":
            return [row.code for row in self.value]
        return self.value


Values = dict[str, Setting]


def get_kit_values() -> Values:
    """The settings of kits, by field."""
    policy = KitPolicy.objects.select_related("vessel_material").first() or KitPolicy()
    found = _list_fields(policy)
    tagged = list(policy.tagged_materials.order_by("code")) if policy.pk else []
    return {**found, "tagged_materials": Setting("tagged_materials", tagged)}


def get_estimating_values() -> Values:
    """The estimates, by field."""
    return _list_fields(get_policy())


def find_changes(standing: Values, values: Mapping[str, Any]) -> Values:
    """The settings as they stand of which others are given."""
    return {
        name: setting
        for name, setting in standing.items()
        if setting.shown != Setting(name, values[name]).shown
    }


def _list_fields(policy: KitPolicy | EstimatingPolicy) -> Values:
    found = {}
    for field in policy._meta.concrete_fields:
        if not field.primary_key:
            unit = QUANTITIES.get(field.name, ("", ""))[1]
            found[field.name] = Setting(field.name, getattr(policy, field.name), unit)
    return found
