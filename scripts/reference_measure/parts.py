"""What a deviation shows of its own beside others with common causes: the conditional normal distribution by dense matrices."""

import numpy as np


def one(rng, things, causes):
    common = rng.normal(0, 0.08, (things, causes))
    u = rng.uniform(0.01, 0.06, things)
    spread = rng.uniform(0.02, 0.05, things)
    deviation = common @ rng.normal(0, 1, causes) + rng.normal(0, u) + rng.normal(0, spread)
    shared = common @ common.T
    own, own_u, alike, alike_u = [], [], [], []
    for i in range(things):
        others = [j for j in range(things) if j != i]
        seen = shared[np.ix_(others, others)] + np.diag((u**2 + spread**2)[others])
        gain = np.linalg.solve(seen, shared[others, i])
        value, variance = gain @ deviation[others], shared[i, i] - gain @ shared[others, i]
        alike.append(value)
        alike_u.append(np.sqrt(variance))
        own.append(deviation[i] - value)
        own_u.append(np.hypot(u[i], alike_u[-1]))
    # None stands out, so each counts for all others.
    assert np.all(np.abs(own) < 3 * np.hypot(own_u, spread))
    columns = [deviation, u, spread, own, own_u, alike, alike_u]
    return {"common": common.tolist(), "things": np.transpose(columns).tolist()}


def make():
    rng = np.random.default_rng(20)
    return [one(rng, things, causes) for things, causes in ((2, 1), (5, 2), (12, 14), (25, 14))]
