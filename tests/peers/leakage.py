"""Leakage by scipy, for tests/peers/leakage.rs: curve_fit on the same data, JSON in, JSON out."""
import json
import sys

import numpy as np
from scipy.optimize import curve_fit, least_squares

asked = json.load(sys.stdin)
answer = {"decay": [], "laws": []}

for case in asked["decay"]:
    t, y = np.array(case["t"]), np.array(case["y"])
    scale = float(np.mean(y))
    best = None
    # From several exponents: the sum of squares need not have one minimum for a local search.
    for m in (0.7, 1.0, 1.3):
        start = [max(y[-1] / scale, 1e-9), max((y[0] - y[-1]) / scale, 1e-9) * t[0] ** m, m]
        fit = least_squares(
            lambda p: p[0] + p[1] * t ** -p[2] - y / scale,
            start,
            bounds=([0, 0, 0.5], [np.inf, np.inf, 1.5]),
            x_scale=[1, 1, 1],
            xtol=1e-15,
            ftol=1e-15,
            gtol=1e-15,
            max_nfev=4000,
        )
        if best is None or fit.cost < best.cost:
            best = fit
    answer["decay"].append({"constant": best.x[0] * scale, "exponent": best.x[2], "rss": 2 * best.cost * scale * scale})

# The laws in the logarithm, as lines with one or two parameters.
LAWS = {
    "Ohmic": (1, None),
    "SpaceCharge": (2, None),
    "Power": (0, np.log),
    "Schottky": (0, np.sqrt),
    "PooleFrenkel": (1, np.sqrt),
    "FowlerNordheim": (2, lambda v: -1 / v),
}
for case in asked["laws"]:
    v, i, u = (np.array(case[k]) for k in ("v", "i", "u"))
    fitted = {}
    for name, (power, abscissa) in LAWS.items():
        y, sigma = np.log(i) - power * np.log(v), u / i
        if abscissa is None:
            model, start = (lambda x, a: a + 0 * x), [y.mean()]
        else:
            model, start = (lambda x, a, b: a + b * abscissa(x)), [y.mean(), 0.1]
        p, cov = curve_fit(model, v, y, start, sigma=sigma, absolute_sigma=True)
        if len(p) == 2 and p[1] < 0:
            # A field that hinders is none: a constant, as the crate has it.
            p = np.array([np.average(y, weights=sigma**-2), 0.0])
        chi = float((((y - model(v, *p)) / sigma) ** 2).sum())
        k, n = (1 if abscissa is None else 2), len(v)
        fitted[name] = {
            "ln_a": float(p[0]),
            "b": float(p[1]) if len(p) == 2 else 0.0,
            "u_b": float(np.sqrt(cov[1, 1])) if len(p) == 2 else 0.0,
            "chi_square": chi,
            "aicc": chi + 2 * k + 2 * k * (k + 1) / (n - k - 1),
        }
    answer["laws"].append(fitted)
json.dump(answer, sys.stdout)
