"""Acts that change what is set for all."""

from collections.abc import Callable
from typing import Any

from api.wire import settings_acts
from tests.api.acts.case import ActCase, Json
from tests.factories.accounts import Office


def a_cable_size(_office: Office, **fields: Any) -> Json:
    lengths = {"outside_diameter": "0.5", "wall": "0.024", "nominal_bore": "0.452", "measured_bore": "0.45"}
    shown = {name: {"value": value, "unit": "[in_i]"} for name, value in lengths.items()}
    return {**shown, "confidence": "sound", **fields}


def _settings(current: Callable[[], Json], **changes: Any) -> Callable[[Office], Json]:
    """The settings as they stand with a change."""
    return lambda _office: {**current(), **changes}


PLANNERS_ONLY, SAFETYS_ONLY = (401, 403, 403, 200, 403, 403, 200), (401, 403, 403, 403, 403, 200, 403)


SETTINGS_ACTS: dict[str, ActCase] = {
    "kits": ActCase(
        "setKitPolicy",
        "kit-policy",
        _settings(settings_acts.get_kit_policy_body, seals_per_run=3),
        PLANNERS_ONLY,
        method="put",
    ),
    "lifting": ActCase(
        "setKitPolicy",
        "kit-policy",
        _settings(settings_acts.get_kit_policy_body, lifting_limit={"value": "20", "unit": "kg"}),
        SAFETYS_ONLY,
        method="put",
    ),
    "estimates": ActCase(
        "setEstimatingPolicy",
        "estimating-policy",
        _settings(settings_acts.get_estimating_policy_body, quantile=0.95),
        PLANNERS_ONLY,
        method="put",
    ),
    "own cautions": ActCase(
        "setEstimatingPolicy",
        "estimating-policy",
        _settings(settings_acts.get_estimating_policy_body, cautions=["Mind the gate."]),
        SAFETYS_ONLY,
        method="put",
    ),
    "cable size": ActCase(
        "saveCableSize",
        "cable-sizes/{designation}",
        a_cable_size,
        PLANNERS_ONLY,
        lambda _office: {"designation": ".500"},
        method="put",
    ),
    "check lists": ActCase(
        "setCheckLists",
        "check-list",
        _settings(settings_acts.get_check_lists_body),
        (401, 403, 403, 200, 403, 200, 200),
        method="put",
    ),
}
