"""Operating characteristics by scipy, for tests/peers/sampling.rs: JSON in, JSON out."""
import json
import sys

from scipy.stats import beta, binom, hypergeom

asked = json.load(sys.stdin)


def plan(sample, accept, bad, lot):
    tenth = beta.isf(0.1, accept + 1, sample - accept) if accept < sample else 1.0
    return [float(binom.cdf(accept, sample, bad / lot)), float(hypergeom.cdf(accept, lot, bad, sample)), float(tenth)]


def least(lot, bad, accept, risk):
    low, high = accept, lot
    while high - low > 1:
        middle = (low + high) // 2
        if hypergeom.cdf(accept, lot, bad, middle) <= risk * (1 + 1e-9):
            high = middle
        else:
            low = middle
    return high


json.dump({"plans": [plan(*case) for case in asked["plans"]], "least": [least(*case) for case in asked["least"]]}, sys.stdout)
