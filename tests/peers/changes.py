"""Change points by ruptures, for tests/peers/changes.rs and benches/changes.rs: JSON in, JSON out."""
import json
import sys
import time

import numpy as np
import ruptures

asked = json.load(sys.stdin)
answer = []
for case in asked["cases"]:
    signal = np.array(case["values"], dtype=float)
    least, penalty = case["least"], case["penalty"]
    made = {}
    began = time.perf_counter()
    if case["search"] == "kernel":
        ends = ruptures.KernelCPD(kernel="linear", min_size=least).fit(signal).predict(pen=penalty)
        cost = ruptures.costs.CostL2().fit(signal)
    elif case["search"] == "mean, so many changes":
        ends = ruptures.Dynp(model="l2", min_size=least, jump=1).fit(signal).predict(n_bkps=case["changes"])
        cost = ruptures.costs.CostL2().fit(signal)
    elif case["search"] == "mean":
        ends = ruptures.Pelt(model="l2", min_size=least, jump=1).fit(signal).predict(pen=penalty)
        cost = ruptures.costs.CostL2().fit(signal)
    elif case["search"] == "normal":
        normal = ruptures.costs.CostNormal(add_small_diag=True)
        ends = ruptures.Pelt(custom_cost=normal, min_size=least, jump=1).fit(signal).predict(pen=penalty)
        cost = ruptures.costs.CostNormal(add_small_diag=True).fit(signal)
    made["seconds"] = time.perf_counter() - began
    made["changes"] = [int(e) for e in ends[:-1]]
    if len(signal) < 20000:
        edges = [0] + [int(e) for e in ends]
        made["cost"] = float(sum(cost.error(a, b) for a, b in zip(edges, edges[1:])) + penalty * len(made["changes"]))
    answer.append(made)
json.dump(answer, sys.stdout)
