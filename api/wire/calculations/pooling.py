"""Partial pooling over groups, and recovered over injected."""

from typing import Any

from api.wire.calculations.faults import refuse
from api.wire.calculations.fields import (
    Choice,
    Number,
    Row,
    not_negative,
    number_list,
    open_fraction,
    positive,
)
from api.wire.calculations.registry import register
from jobs.calc.pooling import (
    dersimonian_laird_variance,
    paule_mandel_variance,
    pool_groups,
    reml_variance,
)
from jobs.calc.recovery import RatioInterval, fieller_ratio, recovery_ratio

BETWEEN_VARIANCE = {
    "dersimonian_laird": dersimonian_laird_variance,
    "paule_mandel": paule_mandel_variance,
    "reml": reml_variance,
}
FIELLER_FIELDS = ("a", "b", "var_a", "var_b", "cov", "critical")


def _pooled_estimate(values: dict[str, Any]) -> dict[str, Any]:
    method, between = values["method"], values["between_variance"]
    if (method is None) == (between is None):
        raise refuse("/method", "give either a method or between_variance")
    groups = {"estimates": values["estimates"], "variances": values["variances"]}
    if between is None:
        between = BETWEEN_VARIANCE[method](**groups)
    pooled = pool_groups(**groups, between_variance=between)
    return {
        "between_variance": pooled.between_variance,
        "mean": pooled.mean,
        "standard_error": pooled.standard_error,
        "group_means": pooled.group_means,
        "group_sds": pooled.group_sds,
    }


register(
    name="pooled-estimate",
    summary="Pool groups' estimates; each group's mean in the light of the others.",
    takes={
        "estimates": number_list(about="one per group"),
        "variances": number_list(limits=positive(), about="sampling variance of each estimate"),
        "method": Choice(options=tuple(BETWEEN_VARIANCE), default=None, may_be_null=True),
        "between_variance": Number(
            limits=not_negative(), default=None, may_be_null=True, about="given instead of a method"
        ),
    },
    gives={
        "between_variance": Number(limits=not_negative()),
        "mean": Number(),
        "standard_error": Number(limits=not_negative()),
        "group_means": number_list(),
        "group_sds": number_list(limits=not_negative(), about="with the mean's uncertainty"),
    },
    compute=_pooled_estimate,
    example={
        "estimates": ["1.08", "1.15", "1.11", "1.21"],
        "variances": ["0.0004", "0.0016", "0.0009", "0.0025"],
        "method": "reml",
    },
)


def _recovery_ratio(values: dict[str, Any]) -> dict[str, Any]:
    has_readings = values["injected"] is not None or values["recovered"] is not None
    has_moments = any(values[name] is not None for name in FIELLER_FIELDS)
    if has_readings == has_moments:
        raise refuse("", f"give either injected and recovered, or {', '.join(FIELLER_FIELDS)}")
    return _show(_of_readings(values) if has_readings else _of_moments(values))


def _of_readings(values: dict[str, Any]) -> RatioInterval:
    for name in ("injected", "recovered"):
        if values[name] is None:
            raise refuse(f"/{name}", "is missing")
    return recovery_ratio(
        injected=values["injected"], recovered=values["recovered"], confidence=values["confidence"]
    )


def _of_moments(values: dict[str, Any]) -> RatioInterval:
    moments = {name: values[name] for name in FIELLER_FIELDS}
    if moments["cov"] is None:
        moments["cov"] = 0.0
    for name, value in moments.items():
        if value is None:
            raise refuse(f"/{name}", "is missing")
    return fieller_ratio(**moments)


def _show(found: RatioInterval) -> dict[str, Any]:
    return {
        "ratio": found.ratio,
        "interval": found.interval,
        "interval_kind": found.kind,
        "standard_error": found.standard_error,
    }


register(
    name="recovery-ratio",
    summary="Recovered over injected with Fieller's interval, from readings or from two estimates.",
    takes={
        "injected": number_list(limits=positive(), default=None, about="readings, paired with recovered"),
        "recovered": number_list(limits=not_negative(), default=None),
        "confidence": Number(limits=open_fraction(), default=0.95, about="of the interval from readings"),
        "a": Number(default=None, about="numerator"),
        "b": Number(default=None, about="denominator"),
        "var_a": Number(default=None, limits=not_negative()),
        "var_b": Number(default=None, limits=not_negative()),
        "cov": Number(default=None, about="covariance of a and b; 0 if absent"),
        "critical": Number(default=None, limits=not_negative(), about="critical value"),
    },
    gives={
        "ratio": Number(),
        "interval": Row(items=(Number(), Number()), may_be_null=True, about="null when unbounded"),
        "interval_kind": Choice(options=("finite", "unbounded")),
        "standard_error": Number(limits=not_negative()),
    },
    compute=_recovery_ratio,
    example={
        "injected": [14.2, 11.8, 16.0, 9.7, 12.5],
        "recovered": [12.9, 10.5, 14.9, 8.6, 11.6],
        "confidence": "0.9",
    },
)
