"""Reference figures by scipy, for tests/peers/distributions.rs: JSON in, JSON out.

Each question is [name, argument, parameters]; the answer is [below, above], and for
the inverses the argument of the two chances.
"""
import json
import sys

from scipy import stats

FAMILIES = {
    "normal": lambda: stats.norm(),
    "student_t": lambda dof: stats.t(dof),
    "chi_square": lambda dof: stats.chi2(dof),
    "f_ratio": lambda a, b: stats.f(a, b),
    "beta": lambda a, b: stats.beta(a, b),
    "gamma": lambda a: stats.gamma(a),
    "binomial": lambda n, p: stats.binom(int(n), p),
    "poisson": lambda m: stats.poisson(m),
    # scipy: (all, marked, drawn).
    "hypergeometric": lambda drawn, marked, every: stats.hypergeom(int(every), int(marked), int(drawn)),
}


def upper(name, q, rest):
    """The argument with the chance q above it."""
    if name == "f_ratio":
        # scipy 1.17.1 takes ppf(1 - q) here, which loses digits; 1/F has the degrees swapped.
        return 1 / float(stats.f(rest[1], rest[0]).ppf(q))
    return float(FAMILIES[name](*rest).isf(q))


asked = json.load(sys.stdin)
answer = {
    "tails": [
        [float(FAMILIES[name](*rest).cdf(x)), float(FAMILIES[name](*rest).sf(x))]
        for name, x, rest in asked["tails"]
    ],
    "inverses": [
        [float(FAMILIES[name](*rest).ppf(p)), upper(name, p, rest)] for name, p, rest in asked["inverses"]
    ],
    "chances": [float(FAMILIES[name](*rest).pmf(k)) for name, k, rest in asked["chances"]],
}
json.dump(answer, sys.stdout)
