"""Corrected limits for few failures: exact limits of the power-law process, and coverage."""

import numpy as np
import pytest
from scipy.stats import chi2

from fleet.reliability import Lifetimes, fit_weibull
from tests.reliability.simulated import groups_of_units, keep_groups


def _one_process(hours, end):
    """A process of repairs watched from new, each repair starting a row: the power law's own likelihood."""
    starts = [0.0, *hours]
    return Lifetimes(entry=starts, lower=[*hours, end], upper=[*hours, np.inf])


@pytest.mark.parametrize("hours", [[120, 180], [60, 150, 160], [20, 90, 130, 170, 195]])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_the_shape_of_one_process_has_its_exact_limits(hours, level):
    """Time-truncated: 2 N shape / estimate is chi-square on 2 N degrees given N (Crow 1974; MIL-HDBK-189)."""
    fit = fit_weibull(_one_process(hours, 200.0))
    count = len(hours)
    exact = fit.shape[0] * chi2.ppf([(1 - level) / 2, (1 + level) / 2], 2 * count) / (2 * count)
    corrected = np.concatenate(fit.confint(level)["shape"])
    plain = np.concatenate(fit.confint(level, "profile")["shape"])
    assert corrected == pytest.approx(exact, rel=2e-3)
    assert abs(plain[0] / exact[0] - 1) > 0.05


def test_limits_at_a_median_of_three_failures_cover():
    """Short form of the study in study_coverage (4,000 groups: 93-97 %); the plain profile covers 92.7 % of shapes."""
    rng = np.random.default_rng(1)
    shape, scale = rng.uniform(1, 3, 2500), rng.uniform(100, 300, 2500)
    rows = groups_of_units(rng, 2500, 30, shape, scale, reach=0.25)
    keep = rows.event_counts() >= 2
    fit = fit_weibull(keep_groups(rows, keep))
    assert np.median(fit.events) == 3
    corrected, plain = fit.confint(), fit.confint(method="profile")
    for name, truth in (("shape", shape[keep]), ("scale", scale[keep])):
        missed = [np.mean((truth < low) | (truth > high)) for low, high in (corrected[name], plain[name])]
        assert 0.03 <= missed[0] <= 0.075
        assert missed[0] < missed[1]


def test_ten_failures_have_the_plain_profile_and_the_correction_fades():
    rng = np.random.default_rng(2)
    rows = groups_of_units(rng, 40, 30, np.full(40, 2.0), np.full(40, 200.0))
    fit = fit_weibull(rows)
    many = fit.events >= 10
    assert many.any()
    for name, pair in fit.confint().items():
        for side in (0, 1):
            plain = fit.confint(method="profile")[name][side][many]
            assert pair[side][many] == pytest.approx(plain, rel=1e-7)
    big = fit_weibull(groups_of_units(rng, 3, 3000, np.full(3, 2.0), np.full(3, 200.0)))
    one, other = big.confint(method="corrected"), big.confint(method="profile")
    for name in one:
        assert np.concatenate(one[name]) == pytest.approx(np.concatenate(other[name]), rel=1e-3)


def test_scaling_hours_scales_the_corrected_limits():
    rows = Lifetimes(entry=[0, 10, 0, 0, 30], lower=[50, 80, 95, 60, 90], upper=[50, 80, np.inf, np.inf, 90])
    larger = Lifetimes(entry=rows.entry * 7, lower=rows.lower * 7, upper=rows.upper * 7)
    one, two = fit_weibull(rows).confint(), fit_weibull(larger).confint()
    assert np.concatenate(two["shape"]) == pytest.approx(np.concatenate(one["shape"]), rel=1e-6)
    assert np.concatenate(two["scale"]) == pytest.approx(7 * np.concatenate(one["scale"]), rel=1e-6)
    assert fit_weibull(rows).quantile_confint(0.1)[0] * 7 == pytest.approx(
        fit_weibull(larger).quantile_confint(0.1)[0], rel=1e-6
    )


def test_an_unknown_method_is_refused():
    fit = fit_weibull(Lifetimes(lower=[50, 80, 95], upper=[50, 80, np.inf]))
    with pytest.raises(ValueError, match="method"):
        fit.confint(method="exact")
