"""Lots by scipy, for tests/peers/lots.rs: JSON in, JSON out. The generalised extreme
Studentized deviate test is written out after NIST/SEMATECH 1.3.5.17.3."""
import json
import sys

import numpy as np
from scipy.stats import mannwhitneyu, t


def outliers(values, most, alpha):
    left = list(enumerate(values))
    n, order, found = len(values), [], 0
    for i in range(1, most + 1):
        own = np.array([v for _, v in left])
        away = np.abs(own - own.mean()) / own.std(ddof=1)
        place = int(away.argmax())
        q = t.ppf(1 - alpha / (2 * (n - i + 1)), n - i - 1)
        if away[place] > (n - i) * q / np.sqrt((n - i - 1 + q * q) * (n - i + 1)):
            found = i
        order.append(left.pop(place)[0])
    return order[:found]


answer = []
for case in json.load(sys.stdin)["cases"]:
    p = mannwhitneyu(case["own"], case["other"], alternative="two-sided", method="asymptotic").pvalue
    answer.append({"p": p, "outliers": outliers(case["own"], 6, 0.05)})
print(json.dumps(answer))
