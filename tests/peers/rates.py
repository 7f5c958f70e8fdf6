"""Failing rates by scipy and statsmodels, for tests/peers/rates.rs: JSON in, JSON out."""
import json
import sys

from scipy.stats import beta, binomtest, chi2, fisher_exact, nbinom
from scipy.stats.contingency import odds_ratio
from statsmodels.stats.proportion import proportion_confint

asked = json.load(sys.stdin)


def clean(x):
    """Nought but for rounding is nought."""
    return 0.0 if abs(x) < 1e-15 else float(x)


def proportion(k, n, confidence):
    alpha = 1 - confidence
    wilson = proportion_confint(k, n, alpha=alpha, method="wilson")
    one = proportion_confint(k, n, alpha=2 * alpha, method="wilson") if confidence > 0.5 else wilson
    corrected = binomtest(k, n).proportion_ci(confidence, "wilsoncc")
    return {
        "exact": [0.0 if k == 0 else beta.ppf(alpha / 2, k, n - k + 1), 1.0 if k == n else beta.isf(alpha / 2, k + 1, n - k)],
        "upper": 1.0 if k == n else beta.ppf(confidence, k + 1, n - k),
        "lower": 0.0 if k == 0 else beta.ppf(alpha, k, n - k + 1),
        "wilson": [clean(x) for x in wilson],
        "wilson_one": [clean(x) for x in one],
        "corrected": [clean(x) for x in corrected],
        "poisson": [0.0 if k == 0 else chi2.ppf(alpha, 2 * k) / 2, chi2.isf(alpha, 2 * k + 2) / 2],
    }


def finite(value):
    return None if value == float("inf") else value


def compare(a, n1, b, n2):
    table = [[b, n2 - b], [a, n1 - a]]
    return {
        "two_sided": fisher_exact(table)[1],
        "fewer": fisher_exact(table, alternative="less")[1],
        "more": fisher_exact(table, alternative="greater")[1],
        "odds_ratio": finite(odds_ratio([[a, n1 - a], [b, n2 - b]]).statistic),
    }


def size(allowed, rate, confidence):
    # The good starts before failure number allowed + 1: more than n - allowed - 1 of them are needed.
    good = int(nbinom.ppf(confidence, allowed + 1, rate))
    for n in range(max(good + allowed - 3, allowed + 1), good + allowed + 6):
        if beta.ppf(confidence, allowed + 1, n - allowed) <= rate:
            return n


json.dump(
    {
        "proportions": [proportion(*case) for case in asked["proportions"]],
        "comparisons": [compare(*case) for case in asked["comparisons"]],
        "sizes": [size(*case) for case in asked["sizes"]],
    },
    sys.stdout,
)
