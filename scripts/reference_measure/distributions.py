"""Normal and Student's t from scipy (Boost and Cephes)."""

from scipy import stats

DOFS = [0.7, 1, 2, 3, 4, 5, 8, 10.5, 16, 28, 40, 50, 100, 333.3, 1e3, 1e4, 1e5, 1e6, 1e8]
TS = [1e-3, 0.1, 0.5, 1, 1.5, 2, 2.5, 3, 4, 5.5, 8, 12, 20, 40]
PS = [1e-9, 1e-6, 8e-5, 1e-3, 0.01, 0.025, 0.05, 0.1, 0.3, 0.45, 0.6, 0.9, 0.95, 0.975, 0.995, 0.9999]


def make():
    return {
        "normal_sf": [[x, stats.norm.sf(x)] for x in [-8, -3, -1, -0.2, 0, 0.3, 1, 1.4, 2, 3, 5, 8, 12, 20]],
        "normal_quantile": [[p, stats.norm.ppf(p)] for p in PS + [1e-20, 1e-100, 1e-300]],
        "t_sf": [[t, v, stats.t.sf(t, v)] for v in DOFS for t in TS],
        "t_quantile": [[p, v, stats.t.ppf(p, v)] for v in DOFS for p in PS],
    }
