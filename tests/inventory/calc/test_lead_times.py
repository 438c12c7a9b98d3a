"""How a stated lead time gives way to what deliveries show."""

import numpy as np
import pytest
from scipy import integrate, stats

from inventory.calc.lead_times import PRIOR_DELIVERIES, PRIOR_FREEDOM, learn_lead_time


def test_learn_lead_time_without_deliveries_is_as_stated() -> None:
    found = learn_lead_time(prior_mean_days=12.0, prior_sd_days=3.0)
    assert (found.mean_days, found.deliveries) == (12.0, 0)
    assert found.sd_days == pytest.approx(3.0)


@pytest.mark.outside_check(
    "Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.3, by integrating prior times likelihood with "
    "scipy.integrate and scipy.stats; how known: computed"
)
def test_learn_lead_time_is_the_mean_and_spread_of_the_integrated_posterior() -> None:
    days = np.array([9.0, 14.0, 11.5])
    stated, spread = 7.0, 2.0
    scale = spread**2 * (PRIOR_FREEDOM - 2) / PRIOR_FREEDOM / (1 + 1 / PRIOR_DELIVERIES)

    means = np.linspace(-60.0, 80.0, 2001)[:, None]
    logs = np.linspace(np.log(0.02), np.log(1e5), 2001)[None, :]
    variances = np.exp(logs)
    # A scaled inverse chi-squared is an inverse gamma with half the freedom.
    chances = stats.invgamma.pdf(variances, PRIOR_FREEDOM / 2, scale=PRIOR_FREEDOM * scale / 2) * variances
    chances = chances * stats.norm.pdf(means, stated, np.sqrt(variances / PRIOR_DELIVERIES))
    for day in days:
        chances = chances * stats.norm.pdf(day, means, np.sqrt(variances))

    def integral(values: np.ndarray) -> float:
        over_logs = integrate.simpson(values * chances, x=logs[0], axis=1)
        return float(integrate.simpson(over_logs, x=means[:, 0]))

    whole = integral(np.ones_like(means))
    first, second = integral(means) / whole, integral(means**2 + variances) / whole
    found = learn_lead_time(prior_mean_days=stated, prior_sd_days=spread, observed_days=days)
    assert found.mean_days == pytest.approx(first, rel=1e-4)
    assert found.sd_days == pytest.approx(np.sqrt(second - first**2), rel=1e-3)


def test_learn_lead_time_follows_many_deliveries() -> None:
    days = stats.norm.rvs(20.0, 4.0, size=4000, random_state=np.random.default_rng(5))
    found = learn_lead_time(prior_mean_days=5.0, prior_sd_days=1.0, observed_days=days)
    assert found.mean_days == pytest.approx(20.0, abs=0.3)
    assert found.sd_days == pytest.approx(4.0, abs=0.3)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("prior_mean_days", {"prior_mean_days": -1.0}),
        ("prior_sd_days", {"prior_sd_days": 0.0}),
        (r"observed_days\[1\]", {"observed_days": [1.0, -2.0]}),
    ],
)
def test_learn_lead_time_refuses_what_is_out_of_range(name: str, values: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=name):
        learn_lead_time(**{"prior_mean_days": 5.0, "prior_sd_days": 1.0, **values})  # type: ignore[arg-type]
