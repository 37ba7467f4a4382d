"""Flow through a hole from its suction, by `fluids` (ISO 5167 through an orifice in a very wide pipe): the second source of
`judge::suction::orifice`. Writes the table that its test reads; with --check compares it instead."""
import csv
import io
import pathlib
import sys

from fluids.flow_meter import flow_meter_discharge

TABLE = pathlib.Path(__file__).parents[2] / "harness/procedure/tests/data/orifice.csv"
WIDE_M = 1.0  # against holes of millimetres the velocity of approach counts for less than 1e-9


def table() -> str:
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["diameter_m", "discharge", "suction_pa", "density_kg_m3", "flow_m3_s"])
    for diameter in (0.002, 0.003, 0.0065):
        for discharge in (0.6, 0.72):
            for suction in (5.0, 60.0, 400.0):
                for density in (1.1, 1.204):
                    kg_s = flow_meter_discharge(
                        D=WIDE_M, Do=diameter, P1=101325.0, P2=101325.0 - suction, rho=density, C=discharge, expansibility=1.0
                    )
                    rows.writerow([diameter, discharge, suction, density, f"{kg_s / density:.9e}"])
    return out.getvalue()


if __name__ == "__main__":
    if "--check" in sys.argv:
        assert TABLE.read_text() == table(), f"{TABLE} is not what fluids gives"
    else:
        TABLE.parent.mkdir(exist_ok=True)
        TABLE.write_text(table())
