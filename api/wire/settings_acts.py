"""Setting what kits and estimates go by: each replaces a record as its sender saw it."""

from collections.abc import Callable, Mapping
from typing import Any

from api.wire.acts import Act, Asker, Json
from api.wire.company_settings import (
    ESTIMATING_POLICY,
    KIT_POLICY,
    settings_body,
    to_fields,
)
from api.wire.kit_requests import CHECK_LISTS, make_check_lists
from api.wire.kits import check_lists_body
from jobs.queries.access import (
    require_may_change_settings,
    require_may_edit_check_list,
)
from jobs.queries.check_lists import get_check_lists
from jobs.queries.company_settings import Values, find_changes, get_estimating_values, get_kit_values
from jobs.services.company_settings import set_estimating_policy, set_kit_policy
from jobs.services.kits.check_list import set_check_lists


def get_kit_policy_body() -> Json:
    return settings_body(get_kit_values())


def get_estimating_policy_body() -> Json:
    return settings_body(get_estimating_values())


def get_check_lists_body() -> Json:
    return check_lists_body(get_check_lists())


def _replace(get: Callable[[], Values], put: Callable[..., Values]) -> Callable[[Json, Asker], Json]:
    """Settings in the place of those that `get` tells, where the sender may change what it changes."""

    def do(values: Mapping[str, Any], asker: Asker) -> Json:
        fields = to_fields(values)
        require_may_change_settings(asker.viewer, find_changes(get(), fields))
        return settings_body(put(values=fields, by=asker.by, occurred_at=asker.now))

    return do


def _set_check_lists(values: Json, asker: Asker) -> Json:
    require_may_edit_check_list(asker.viewer)
    set_check_lists(**make_check_lists(values))
    return get_check_lists_body()


SET_KIT_POLICY = Act(
    name="set_kit_policy",
    summary=(
        "Put all settings of kits in the place of what stands; days ahead need what follows from them. "
        "What one person may lift is set by safety, the rest by planners."
    ),
    record=KIT_POLICY,
    request="KitPolicyRequest",
    answer="KitPolicy",
    do=_replace(get_kit_values, set_kit_policy),
    status=200,
    current=get_kit_policy_body,
)
SET_ESTIMATING_POLICY = Act(
    name="set_estimating_policy",
    summary=(
        "Put all estimates in the place of what stands; days ahead need what follows from them. "
        "The company's own cautions are set by safety, the rest by planners."
    ),
    record=ESTIMATING_POLICY,
    request="EstimatingPolicyRequest",
    answer="EstimatingPolicy",
    do=_replace(get_estimating_values, set_estimating_policy),
    status=200,
    current=get_estimating_policy_body,
)
SET_CHECK_LISTS = Act(
    name="set_check_lists",
    summary="Put both lists in the place of what stands, in their order; what is left out is withdrawn.",
    record=CHECK_LISTS,
    request="CheckLists",
    answer="CheckLists",
    do=_set_check_lists,
    status=200,
    current=get_check_lists_body,
)
ACTS = (SET_KIT_POLICY, SET_ESTIMATING_POLICY, SET_CHECK_LISTS)
