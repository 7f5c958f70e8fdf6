"""Two distributions and the size of a proof by scipy, for tests/peers/compared.rs: JSON in, JSON out."""
import json
import sys
import warnings

from scipy.stats import hypergeom, ks_2samp

asked = json.load(sys.stdin)


def needed(a, n1, failed, confidence):
    """The least number of starts after, by trying one after the other."""
    n2 = max(failed, 1)
    while hypergeom.cdf(failed, n1 + n2, a + failed, n2) > 1 - confidence:
        n2 += 1
        if n2 > 20000:
            return None
    return n2


def two(a, b):
    # Where its exact chance comes out above 1 by rounding, scipy says so and takes another: no peer there.
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        seen = ks_2samp(a, b, method="exact")
    return {"largest": float(seen.statistic), "chance": None if said else float(seen.pvalue)}


json.dump(
    {
        "needed": [needed(*case) for case in asked["needed"]],
        "distances": [two(*pair) for pair in asked["distances"]],
    },
    sys.stdout,
)
