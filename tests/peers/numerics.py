"""Reference figures by scipy, for tests/peers/numerics.rs: JSON in, JSON out."""
import json
import sys

from scipy.stats import binomtest

asked = json.load(sys.stdin)
answer = {}
if "clopper_pearson" in asked:
    answer["clopper_pearson"] = [
        list(binomtest(k, n).proportion_ci(0.95, "exact")) for k, n in asked["clopper_pearson"]
    ]
json.dump(answer, sys.stdout)
