"""The invented site: two pipes, one unit, a panel, and hands that come through the site control. See docs/simulator.md."""
import json
import math

import numpy as np

from air import L_MIN, Network, Pipe
from by_eye import Eyes, No
from device import STEP, Unit
from smoke import Smoke
from watch import INLETS, OUTPUTS

PIPES = [
    ([7.0, 4.0, 4.0, 4.0, 4.0], [3.0e-3, 3.0e-3, 3.0e-3, 3.0e-3, 4.0e-3], 2),
    ([5.0, 5.0, 5.0, 5.0], [3.5e-3, 3.5e-3, 3.5e-3, 4.0e-3], 3),
]


class Site(Eyes):
    """All that there is, in its own time from 0."""

    def __init__(self, lies, seed):
        noise = np.random.default_rng(seed)
        pipes = [Pipe(list(lengths), list(holes), bends) for lengths, holes, bends in PIPES]
        self.network = Network(pipes, INLETS, noise, None)
        for name, diameter in (("leak-unused-10", 3.35e-3), ("leak-unused-40", 9.0e-3), ("leak-unused-told", 9.0e-3)):
            if lies(name):
                self.network.leaks[2] = diameter
        self.now, self.smoke = 0.0, Smoke()
        self.mounted, self.cabled, self.mains, self.battery, self.cover_open = False, False, False, False, False
        self.inputs, self.isolated, self.not_isolated = 0, False, 0
        self.unit = Unit(self, lies, noise)
        self.steady, self.shown = None, None

    def air(self, speed):
        """Flow and extinction at the unit; the flow follows a change within about half a second."""
        steps = 1000 if speed == self.unit.wanted_speed() else 20  # a fan that still changes is known in steps of 5 %
        flow = self.network.at(round(speed * steps) / steps, self.mounted)
        return flow, self.smoke.at(self.now, self.network.pipes, flow) if self.mounted else 0.0

    def advance(self, now):
        while self.now + STEP <= now:
            self.now += STEP
            self.unit.step(self.now)
            if self.mounted and not self.isolated and any(self.panel()["inputs"][1:]):
                self.not_isolated += 1

    def power(self, mains, battery):
        on = self.mains or self.battery
        self.mains, self.battery = mains, battery
        if (mains or battery) and not on:
            self.unit.start(self.now)
        elif on and not (mains or battery):
            self.unit.off()

    def panel(self):
        powered = self.unit.booted_at is not None
        operated = self.unit.operated() if powered else 1
        shown = [bool(operated >> o & 1) for o in range(OUTPUTS)] if self.mounted else [True] + [False] * (OUTPUTS - 1)
        return {"isolated": self.isolated, "inputs": shown, "fault_wire": 1, "fault": shown[0],
                "alarms_not_isolated": self.not_isolated}

    # --- the site control
    def control(self, line):
        reply = {"at_s": round(self.now, 3)}
        try:
            command = json.loads(line)
            told = getattr(self, "do_" + str(command.pop("do")).replace("-", "_"), None)
            if told is None:
                raise No("no such command", "see docs/simulator.md")
            reply = {"ok": True, **reply, **(told(**command) or {})}
        except (No, TypeError, ValueError, KeyError, AttributeError) as e:
            cause, remedy = e.args if isinstance(e, No) else (str(e), "see docs/simulator.md")
            reply = {"ok": False, **reply, "cause": cause, "remedy": remedy}
        return json.dumps(reply, separators=(",", ":"))

    def pipe(self, pipe, hole=None):
        if not 1 <= pipe <= len(PIPES):
            raise No(f"there is no pipe {pipe}", "a pipe goes by its inlet")
        found = self.network.pipes[pipe - 1]
        if hole is not None and not 1 <= hole <= len(found.holes):
            raise No(f"pipe {pipe} has no hole {hole}", "name a hole by its number along the pipe, the end cap last")
        return found

    def do_smoke(self, pipe, hole, obscuration, seconds, unit="%/m"):
        self.pipe(pipe, hole)
        lengths = {"%/m": 1.0, "%/ft": 0.3048}
        if unit not in lengths or not 0 < obscuration < 100:
            raise No("no such obscuration", "give %/m or %/ft, over 0 and under 100")
        extinction = -math.log(1 - obscuration / 100) / lengths[unit]
        self.smoke.release(pipe - 1, hole - 1, extinction, self.now, seconds)

    def do_smoke_off(self):
        self.smoke.stop(self.now)

    def do_close(self, pipe, hole):
        self.pipe(pipe, hole).closed.add(hole - 1)

    def do_open(self, pipe, hole):
        self.pipe(pipe, hole).closed.discard(hole - 1)

    def do_inlet(self, inlet, shut=True):
        self.pipe(inlet).shut = shut

    def do_pipe_off(self, pipe):
        self.pipe(pipe).off = True

    def do_pipe_on(self, pipe):
        self.pipe(pipe).off = False

    def do_swap(self):
        self.mounted = self.cabled = True
        self.power(False, False)
        self.power(True, True)

    def do_cable(self, unit):
        self.cabled = unit == "replacement"

    def do_power(self, unit="replacement", mains=None, battery=None):
        if unit != "replacement":
            raise No("there is no other unit here", "power the replacement")
        self.power(self.mains if mains is None else mains, self.battery if battery is None else battery)

    def do_cover(self, open):
        self.cover_open = open
        self.unit.void_baseline()

    def do_input(self, number, on):
        self.inputs = self.inputs & ~(1 << number - 1) | on << number - 1

    def do_isolate(self):
        self.isolated = True

    def do_restore(self):
        self.isolated = False

    def do_panel(self):
        return {"panel": self.panel()}

    def do_truth(self):
        flow = self.air(self.unit.speed)[0]
        lpm = lambda q: round(q / L_MIN, 3)
        return {"truth": {"inlets": [lpm(q) for q in flow.inlets], "holes": [[lpm(q) for q in p] for p in flow.holes],
                          "extinction": self.air(self.unit.speed)[1]}}
