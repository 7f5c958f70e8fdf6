"""Mixtures by scikit-learn, for tests/peers/states.rs: JSON in, JSON out."""
import json
import sys

import numpy as np
from sklearn.mixture import GaussianMixture

answer = []
for case in json.load(sys.stdin)["cases"]:
    values = np.array(case["values"])[:, None]
    made = GaussianMixture(
        case["components"], covariance_type="full", tol=1e-9, max_iter=3000, n_init=3, reg_covar=1e-9, random_state=0
    ).fit(values)
    order = np.argsort(made.means_.ravel())
    answer.append(
        {
            "log_likelihood": float(made.score(values) * len(values)),
            "means": made.means_.ravel()[order].tolist(),
            "shares": made.weights_[order].tolist(),
        }
    )
json.dump(answer, sys.stdout)
