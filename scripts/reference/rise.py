"""Marks on a rise: time and form by numpy's least squares, for the test in harness/measure/src/rise.rs.

Rows are weighted by one over their uncertainty; what is held of the form beforehand is the last row. The covariance is the inverse
of the normal matrix, widened by the ratio of Birge (1932) where the marks scatter more than stated.
"""
import numpy as np

FORM_U = 6 ** -0.5
CASES = [
    [(21.0, 1.0, 20.0, 17.0)],
    [(21.0, 1.0, 20.0, 17.0), (35.0, 1.5, 33.0, 32.0), (36.5, 1.5, 33.0, 32.0)],
    [(14.0, 0.3, 15.0, 12.0), (40.0, 0.8, 33.0, 32.5), (36.0, 0.8, 33.0, 32.5)],
]
for marks in CASES:
    rows = [[first / u, (second - first) / u] for _, u, first, second in marks] + [[0.0, 1.0 / FORM_U]]
    seen = [at / u for at, u, _, _ in marks] + [0.0]
    a, y = np.array(rows), np.array(seen)
    (scale, g), *_ = np.linalg.lstsq(a, y, rcond=None)
    left = y - a @ np.array([scale, g])
    free = len(marks) - 1
    excess = max(1.0, float(np.sqrt(left @ left / free))) if free else 1.0
    u = float(np.sqrt(np.linalg.inv(a.T @ a)[0, 0])) * excess
    print(f"{scale:.12f}, {u:.12f}, {g / scale:.12f}, {excess:.12f}")
