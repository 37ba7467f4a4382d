"""Autocorrelated series: autocorrelation, effective sample size, trend and long-run variance from statsmodels and scipy."""

import numpy as np
import statsmodels.api as sm
from scipy import fft, stats
from statsmodels.tsa.stattools import acf


def autoregressive(n, rho, rng):
    noise = rng.standard_normal(n + 500)
    x = np.zeros(n + 500)
    for i in range(1, n + 500):
        x[i] = rho * x[i - 1] + noise[i]
    return x[500:] * np.sqrt(1 - rho**2)


def integrated_time(residuals):
    """Sokal 1997: 1 + 2 sum rho_k up to the first lag of five times itself; rho from statsmodels."""
    rho = acf(residuals, nlags=len(residuals) // 2 - 1, fft=False)
    tau = 1.0
    for lag in range(1, len(residuals) // 2):
        tau += 2 * rho[lag]
        if lag >= 5 * tau:
            break
    return max(tau, 1.0)


def cosines(residuals, used, dof):
    """Long-run variance from the first `used` type-2 cosine coefficients (Lazarus et al. 2018) by scipy's own transform."""
    coefficients = fft.dct(residuals, type=2, norm="ortho")[1 : used + 1]
    return float(np.sum(coefficients**2) / dof)


def make():
    rng = np.random.default_rng(20240229)
    out = []
    for n, rho, slope, step in [
        (60, 0.0, 0.0, 1.0),
        (200, 0.3, 0.002, 1.0),
        (500, 0.6, 0.0, 0.5),
        (600, 0.8, 0.001, 0.1),
        (1200, 0.9, 0.0, 0.1),
        (2000, 0.7, -0.0004, 0.25),
        (4000, 0.95, 0.0, 0.1),
    ]:
        y = np.round(40 + autoregressive(n, rho, rng) + slope * np.arange(n), 6)
        x = np.arange(n) * step
        centred = y - y.mean()
        fit = stats.linregress(x, y)
        residuals = y - fit.intercept - fit.slope * x
        times = {1: integrated_time(centred), 2: integrated_time(residuals)}
        dofs = {k: int(min(max(n / t / 4, 4), max(0.4 * n ** (2 / 3), 4))) for k, t in times.items()}
        sxx = float(np.sum((x - x.mean()) ** 2))
        # Newey and West 1987 with a bandwidth of a few correlation times: another estimator of the same thing.
        lags = int(4 * times[1])
        newey_west = sm.OLS(y, np.ones(n)).fit(cov_type="HAC", cov_kwds={"maxlags": lags}).bse[0]
        trend_nw = sm.OLS(y, sm.add_constant(x)).fit(cov_type="HAC", cov_kwds={"maxlags": lags}).bse[1]
        out.append(
            {
                "step": step,
                "rho": rho,
                "values": y.tolist(),
                "mean": float(y.mean()),
                "sd": float(y.std(ddof=1)),
                "lag1": float(acf(y, nlags=1, fft=False)[1]),
                "time_mean": times[1],
                "dof_mean": dofs[1],
                "long_run_mean": cosines(centred, dofs[1], dofs[1]),
                "slope": float(fit.slope),
                "slope_se_white": float(fit.stderr),
                "dof_line": dofs[2],
                "slope_se": float(np.sqrt(cosines(residuals, dofs[2] + 1, dofs[2]) / sxx)),
                "newey_west_mean_se": float(newey_west),
                "newey_west_slope_se": float(trend_nw),
                "true_mean_se": float(np.sqrt((1 + rho) / (1 - rho) / n)),
            }
        )
    return out
