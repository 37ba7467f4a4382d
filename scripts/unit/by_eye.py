"""What a person sees and does at the unit: its label, display, lamps and keys, as the site control offers them.

See docs/simulator.md. Not here: how a person is asked (the tool), and the rest of the site (site_model.py).
"""
import math
from decimal import Decimal

from settings import KEYS, Refused, allowed
from watch import (F_BASELINE, F_BATTERY, F_COVER, F_FAN, F_FLOW, F_MAINS, INLETS, LEVELS, OUTPUTS)

NAMES = [(F_FLOW, "flow"), (F_FAN, "fan"), (F_MAINS, "mains"), (F_BATTERY, "battery"), (F_COVER, "cover"),
         (F_BASELINE, "no baseline")]


class No(Exception):
    """A command that the site does not follow: cause and remedy."""


def numbered(bits, most):
    return [n + 1 for n in range(most) if bits >> n & 1]


class Eyes:
    """The part of a site control that is for eyes and fingers; `server` is what the unit can be ordered."""

    def started(self):
        if self.unit.silent(self.now) or not self.mounted and self.unit.booted_at is None:
            raise No("its display is dark", "power it, and wait until it has started")
        return self.unit

    def do_display(self):
        unit = self.started()
        r = unit.reading(self.now, 0, 0)
        return {"display": {
            "flow_l_min": [q * 60_000 * 1e-12 for q in r[2]], "smoke_percent_per_m": [100 * (1 - math.exp(-r[3][0] * 1e-9))],
            "levels": numbered(r[14], LEVELS), "latched": numbered(r[15], LEVELS), "outputs": numbered(r[9], OUTPUTS),
            "faults": [name for bit, name in NAMES if r[10] >> bit & 1],
            "flow_low": numbered(r[12], INLETS), "flow_high": numbered(r[13], INLETS),
            "busy": unit.starting(self.now) or unit.off_speed()}}

    def do_label(self):
        unit, store = self.unit, self.unit.store
        held = store.baseline
        r = unit.reading(self.now, 0, 0) if unit.booted_at is not None else {}
        plain = lambda v: float(v) if isinstance(v, Decimal) else v
        return {"label": {
            "unit": "replacement", "maker": "Invented Workshop", "model": "Gale 2", "serial": "G2-000417", "firmware": "1.9.2",
            "inlets": INLETS, "settings": {k: plain(v) for k, v in store.values.items()},
            "baseline_l_min": held["flow"] if held else None, "taking": unit.taking is not None,
            "inhibited": store.inhibited, "supply_v": r.get(6, 0) / 1000, "supply_a": r.get(7, 0) / 1000}}

    def do_keypad(self, key, value, unit="replacement"):
        store = self.started().store
        if key not in KEYS:
            raise No(f"it has no setting {key}", "use a key of its description")
        value = value if isinstance(value, (bool, str)) else Decimal(str(value))
        if not allowed(key, value):
            raise No(f"it does not take {value}", "see its description")
        if store.values[key] != value:
            store.change(store.values | {key: value})
            if key == "rotor" or key.startswith("tube."):
                self.unit.void_baseline()

    def do_hand(self, deed, output=0):
        unit, server = self.started(), self.server
        try:
            if deed == "hold-back":
                unit.outputs.inhibit(self.now, math.inf)  # until a hand gives them back
            elif deed == "give-back":
                server.op_inhibit_release(unit.store.lease)
            elif deed == "operate":
                server.op_drive(output, 60)
            elif deed == "rest":
                server.op_undrive(output)
            else:
                {"baseline": server.op_baseline_take, "reset": server.op_reset_latches, "restart": server.op_restart}[deed]()
        except Refused as no:
            raise No(str(no), "see the unit's handbook") from no
        except KeyError as e:
            raise No(f"nobody can {deed} here", "see docs/simulator.md") from e
