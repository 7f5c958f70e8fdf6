"""Trends by scipy and pymannkendall, for tests/peers/trend.rs: JSON in, JSON out."""
import json
import sys

import numpy as np
import pymannkendall
from scipy.stats import theilslopes

answer = []
for case in json.load(sys.stdin)["cases"]:
    values = np.array(case)
    plain = pymannkendall.original_test(values)
    slope = theilslopes(values, np.arange(len(values)), 0.95)
    corrected = pymannkendall.hamed_rao_modification_test(values)
    answer.append(
        {
            "s": float(plain.s), "variance": float(plain.var_s), "p": float(plain.p),
            "slope": float(slope[0]), "low": float(slope[2]), "high": float(slope[3]),
            "widened": float(corrected.var_s / plain.var_s),
        }
    )
json.dump(answer, sys.stdout)
