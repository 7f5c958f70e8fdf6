"""Penalised logistic regression by Newton's steps in numpy, and the rest by
scipy and statsmodels, for tests/peers/dependence.rs: JSON in, JSON out."""
import json
import sys

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, spearmanr
from statsmodels.sandbox.stats.runs import runstest_1samp
from statsmodels.stats.multitest import multipletests

asked = json.load(sys.stdin)


def penalised(x, y, b):
    eta = x @ b
    p = 1 / (1 + np.exp(-eta))
    information = x.T @ (x * (p * (1 - p))[:, None])
    return y @ eta - np.logaddexp(0, eta).sum() + 0.5 * np.linalg.slogdet(information)[1]


def largest(x, y, held=None, near=None):
    """Newton's steps on the modified score, with halving, over the free coefficients."""
    free = [i for i in range(x.shape[1]) if held is None or i != held[0]]
    b = np.zeros(x.shape[1])
    if held is not None:
        if near is not None and near[held[0]] * held[1] > 0:
            # On the way from the full fit outwards: far out there are other, lower tops.
            b = near * (held[1] / near[held[0]])
        b[held[0]] = held[1]
    top = penalised(x, y, b)
    for _ in range(400):
        p = 1 / (1 + np.exp(-(x @ b)))
        w = p * (1 - p)
        information = x.T @ (x * w[:, None])
        hat = w * np.einsum("ij,jk,ik->i", x, np.linalg.inv(information), x)
        score = (x.T @ (y - p + hat * (0.5 - p)))[free]
        step = np.linalg.solve(information[np.ix_(free, free)], score)
        if not np.abs(step).max() > 1e-12:
            break
        step *= min(1, 3 / np.abs(step).max())
        while True:
            tried = b.copy()
            tried[free] += step
            value = penalised(x, y, tried)
            if value > top or np.abs(step).max() < 1e-11:
                break
            step /= 2
        if np.abs(step).max() < 1e-11:
            break
        b, top = tried, value
    return b, top


def regression(columns, failed):
    y = np.array(failed, dtype=float)
    x = np.column_stack([np.ones(len(y))] + [np.array(c) for c in columns])
    b, top = largest(x, y)
    _, without = largest(x, y, (1, 0.0))
    reach = chi2.ppf(0.95, 1) / 2
    profile = lambda value: largest(x, y, (1, value), b)[1] - (top - reach)
    ends = []
    for side in (-1, 1):
        far = 0.5
        while profile(b[1] + side * far) > 0:
            far *= 2
        ends.append(brentq(profile, b[1], b[1] + side * far, xtol=1e-7))
    return {"coefficients": list(b), "chance": chi2.sf(2 * (top - without), 1), "interval": ends}


def runs(failed):
    zs = [runstest_1samp(np.array(failed, dtype=float), cutoff=0.5, correction=c)[0] for c in (False, True)]
    # With 50 and more the package leaves the correction out.
    return {"none": zs[0], "half": zs[1] if len(failed) < 50 else None}


json.dump(
    {
        "regressions": [regression(*case) for case in asked["regressions"]],
        "runs": [runs(case) for case in asked["runs"]],
        "holm": [list(multipletests(case, method="holm")[1]) for case in asked["holm"]],
        "spearman": [spearmanr(a, b).statistic for a, b in asked["spearman"]],
    },
    sys.stdout,
)
