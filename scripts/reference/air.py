"""Moist air: CIPM-2007 written from its publication, CoolProp as an independent route, and printed values."""
import math

from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

POINTS = [(t, p, h) for t in (-20.0, 0.0, 15.0, 20.0, 27.0, 40.0) for p in (70000.0, 101325.0, 106000.0) for h in (0.0, 0.5, 0.9)]


def cipm_2007(t, p, h, co2=4e-4):
    """Density, kg/m3; Picard, Davis, Glaeser and Fujii (2008), Revised formula for the density of moist air (CIPM-2007),
    Metrologia 45, 149-155; its form (2) with the constant 3.483740 (constants from memory, borne out by CoolProp)."""
    k = t + 273.15
    psv = math.exp(1.2378847e-5 * k * k - 1.9121316e-2 * k + 33.93711047 - 6.3431645e3 / k)
    x = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * psv / p
    z = 1 - p / k * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x * x)
    z += (p / k) ** 2 * (1.83e-11 - 0.765e-8 * x * x)
    return (3.483740 + 1.4446 * (co2 - 4e-4)) * 1e-3 * p / (z * k) * (1 - 0.3780 * x)


def oiml(t, p, h):
    """Density, kg/m3; OIML R 111-1 (2004), equation E.3-1: within 2e-4 for 900-1100 hPa, 10-30 degC, h < 0.8."""
    return (0.34848 * p / 100 - 0.009 * 100 * h * math.exp(0.061 * t)) / (273.15 + t)


def viscosity(t, p, h):
    """Viscosity, Pa s: CoolProp's dry air (Lemmon and Jacobsen 2004) and water vapour (IAPWS) at the temperature, mixed by Wilke
    (1950). CoolProp's own moist-air viscosity takes the vapour at the boiling point of the total pressure, and comes out 0.3 to
    1 % high when moist; that this is the whole difference is checked here."""
    k = t + 273.15
    x = HAPropsSI("psi_w", "T", k, "P", p, "R", h)
    air = PropsSI("V", "T", k, "P", p, "Air")

    def mix(water):
        phi = lambda a, b, m, n: (1 + math.sqrt(a / b) * (n / m) ** 0.25) ** 2 / math.sqrt(8 * (1 + m / n))
        y = 1 - x
        return air * y / (y + x * phi(air, water, 28.96546, 18.01528)) + water * x / (x + y * phi(water, air, 18.01528, 28.96546))

    assert abs(HAPropsSI("mu", "T", k, "P", p, "R", h) / mix(PropsSI("V", "P", p, "Q", 1, "Water")) - 1) < 1e-6
    # Saturated vapour below the triple point is not in CoolProp: there is next to none of it in the air then.
    return mix(PropsSI("V", "T", max(k, 273.16), "Q", 1, "Water"))


def make():
    """Rows of t, p, h, CIPM-2007 density, CoolProp density, viscosity; and printed values."""
    rows = []
    for t, p, h in POINTS:
        d = cipm_2007(t, p, h)
        c = 1 / HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", h)
        mu = viscosity(t, p, h)
        assert abs(d / c - 1) < 2e-4, (t, p, h)
        if 10 <= t <= 30 and p > 9e4 and h < 0.8:
            assert abs(oiml(t, p, h) / d - 1) < 2e-4
        rows.append([t, p, h, d, c, mu])
    # Printed: t, p, h, density, relative tolerance. ISO 2533:1975 sea level (its air has no CO2 rise and Z = 1);
    # OIML R 111-1 in the middle of its range; the conventional 1.2 kg/m3 of the same document at 20 degC.
    printed = [[15.0, 101325.0, 0.0, 1.2250, 6e-4], [20.0, 101325.0, 0.5, oiml(20, 101325, 0.5), 2e-4],
               [23.0, 95000.0, 0.4, oiml(23, 95000, 0.4), 2e-4], [20.0, 101325.0, 0.5, 1.2, 1e-3]]
    # Relative sensitivities near 20 degC, 101325 Pa, 50 %: Picard et al. (2008), section on uncertainty (from memory).
    sensitivity = {"per_pa": 1e-5, "per_k": -4e-3, "per_humidity": -9e-3}
    # ISO 2533:1975: dynamic viscosity at 15 degC, dry.
    return {"rows": rows, "printed": printed, "sensitivity": sensitivity, "viscosity_iso_2533": [15.0, 101325.0, 0.0, 1.7894e-5]}
