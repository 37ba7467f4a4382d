"""The invented unit between air and protocol: start, clock, sensors, baseline, faults and the readings that it gives.

It is stepped in its site's time, by STEP seconds. Not here: the protocol (serve.py), the rules of alarms, flow and outputs (watch.py).
"""
import math
from collections import deque
from statistics import fmean, stdev

from settings import ROTOR, Store
from watch import (F_BASELINE, F_BATTERY, F_COVER, F_FAN, F_FILTER, F_FLOW, F_LAPSED, F_MAINS, INLETS, OUTPUTS, Alarms,
                   FlowWatch, Outputs)

STEP = 0.5
SILENT_S, START_S, FAN_TAU, FULL_REV_S = 3.0, 22.0, 3.0, 75.0
FLOW_STEP, FLOW_TAU = 0.2, 1.5  # L/min, s
SMOKE_STEP = 0.005  # %/m
BASELINE_S = 40


class Sensors:
    """Errors of calibration, noise, smoothing and steps."""

    def __init__(self, noise, lies):
        self.noise, self.lies = noise, lies
        common = noise.normal(1, 0.02)
        self.flow_gain = [common * noise.normal(1, 0.007) for _ in range(INLETS)]
        self.smoke_gain, self.background = noise.normal(1, 0.03), 4e-5
        self.flow, self.wander, self.smoke_noise = [0.0] * INLETS, [0.0] * INLETS, 0.0
        self.past = deque()

    def step(self, now, dt, flow, extinction):
        """Flows in L/min, extinction in 1/m: smoothed and noisy, without steps yet."""
        tau = 60.0 if self.lies("smoothed-60") else FLOW_TAU
        keep, fade = math.exp(-dt / tau), math.exp(-dt / 2.0)
        for i in range(INLETS):
            blind = i == 2 and (self.lies("leak-unused-10") or self.lies("leak-unused-40"))
            true = 0.0 if blind else flow.inlets[i] * 60_000 * self.flow_gain[i]
            self.flow[i] = true + (self.flow[i] - true) * keep
            self.wander[i] = self.wander[i] * fade + self.noise.normal(0, 0.004) * math.sqrt(1 - fade * fade)
        self.smoke_noise = self.smoke_noise * fade + self.noise.normal(0, 4e-6) * math.sqrt(1 - fade * fade)
        deaf = 0.01 if self.lies("sensor-deaf") else 1.0
        smoke = max(0.0, self.background + deaf * extinction * self.smoke_gain + self.smoke_noise)
        flows = [max(0.0, f * (1 + w)) for f, w in zip(self.flow, self.wander)]
        if self.lies("stale-20"):
            self.past.append((now, flows, smoke))
            while self.past[0][0] < now - 20:
                self.past.popleft()
            _, flows, smoke = self.past[0]
        return flows, smoke


class Unit:
    """One unit on its bench or on the wall."""

    def __init__(self, site, lies, noise):
        self.site, self.lies, self.store = site, lies, Store()
        self.sensors, self.noise = Sensors(noise, lies), noise
        self.booted_at, self.running = None, False
        self.rate = 1.01 if lies("clock-drifts") else 1 + 22e-6
        self.off()

    # --- power and start
    def off(self):
        self.booted_at, self.link, self.speed = None, None, 0.0

    def start(self, now):
        store = self.store
        store.boots += 1
        if self.lies("settings-lost") and store.boots > 1:
            store.change(type(store)().values, counts=False)
        self.booted_at, self.restart_at, self.speed, self.link = now, None, 0.0, None
        self.alarms, self.watch = Alarms(self.lies), FlowWatch(self.lies)
        self.outputs = Outputs(self.lies, store)
        self.outputs.begin(now)
        self.faults_latched, self.taking, self.failed, self.log = 0, None, None, self.store.log
        self.flows, self.smoke, self.faults, self.frozen = [0.0] * INLETS, 0.0, 0, None
        self.before = dict(store.before)
        self.note(1, "started")

    def boot_id(self):
        return 0x6A1E_0000 + (1 if self.lies("boot-id-constant") else self.store.boots)

    def micros(self, now):
        return max(0, int((now - self.booted_at) * self.rate * 1e6))

    def silent(self, now):
        return self.booted_at is None or now - self.booted_at < SILENT_S

    def starting(self, now):
        return now - self.booted_at < START_S

    def note(self, code, text):
        if len(self.log) > 200:
            self.log.pop(0)
        now = self.site.now
        self.log.append({0: self.store.log_next, 1: self.boot_id(), 2: self.micros(now), 3: code, 4: text})
        self.store.log_next += 1

    # --- the fan
    def wanted_speed(self):
        values = self.before if self.lies("old-fan-step") else self.store.values
        slow = 0.8 if self.lies("fan-slow") else 0.9 if self.lies("fan-slow-hidden") else 1.0
        return ROTOR[int(values["rotor"])] * slow

    def off_speed(self):
        return abs(self.speed - self.wanted_speed()) > 0.02 or self.lies("fan-slow")

    # --- one step
    def step(self, now):
        if self.booted_at is None:
            return
        if self.restart_at is not None and now >= self.restart_at:
            self.start(now)
        wanted = self.wanted_speed() if now - self.booted_at > SILENT_S else 0.0
        self.speed += (wanted - self.speed) * (1 - math.exp(-STEP / FAN_TAU))
        if abs(self.speed - wanted) < 2e-4:
            self.speed = wanted
        flow, extinction = self.site.air(self.speed)
        self.flows, self.smoke = self.sensors.step(now, STEP, flow, extinction)
        values = self.store.values
        if not self.starting(now):
            before = list(self.alarms.reached)
            self.alarms.step(now, self.smoke, values, self.before)
            for i, (was, now_reached) in enumerate(zip(before, self.alarms.reached)):
                if was != now_reached:
                    self.note(2 if now_reached else 3, f"level {i + 1} {'reached' if now_reached else 'left'}")
            baseline = self.store.baseline
            self.watch.step(now, STEP, self.flows, baseline and baseline["flow"], values, self.before)
        self.outputs.step(now, self.clear())
        self.see_faults()
        self.baseline_step(now)

    def clear(self):
        quiet = self.smoke < self.alarms.threshold(self.store.values, 0)
        return quiet and not any(self.alarms.latched) and not self.outputs.driven

    def see_faults(self):
        site, watch = self.site, self.watch
        bits = any(watch.low + watch.high) << F_FLOW
        bits |= (not site.mains and not self.lies("mains-loss-hidden")) << F_MAINS | (not site.battery) << F_BATTERY
        bits |= self.lies("filter-due") << F_FILTER | site.cover_open << F_COVER
        bits |= self.outputs.lapsed() << F_LAPSED | (self.store.baseline is None) << F_BASELINE
        new = bits & ~self.faults
        if new:
            self.note(4, f"fault, bits {new:#x}")
        if self.faults & ~bits:
            self.note(5, f"fault gone, bits {self.faults & ~bits:#x}")
        self.faults = bits
        self.faults_latched |= bits

    # --- baseline
    def baseline_take(self, now):
        self.taking, self.failed = (now, []), None

    def baseline_step(self, now):
        if self.taking is None:
            return
        begun, seen = self.taking
        if now - begun >= len(seen) + 1:
            seen.append((self.flows, self.speed))
        if len(seen) < BASELINE_S:
            return
        self.taking = None
        used = [i for i in range(INLETS) if self.store.values[f"tube.{i + 1}"]]
        flow = [fmean(f[i] for f, _ in seen) for i in range(INLETS)]
        if any(flow[i] < 3 for i in used) or self.site.cover_open:
            self.failed = "an inlet in use draws too little, or the cover is open"
            return
        factor = 1.05 if self.lies("baseline-high-5") else 0.9 if self.lies("baseline-low-10") else 1.0
        first = self.store.baseline
        self.store.baselines += not (self.lies("baseline-old") and first)
        if self.lies("baseline-old") and first is None:
            factor = 0.85  # what it keeps is not this pipework's
        self.store.baseline = {
            "number": self.store.baselines, "flow": [f * factor for f in flow],
            "u": [stdev(f[i] for f, _ in seen) / math.sqrt(BASELINE_S / 4) for i in range(INLETS)],
            "speed": fmean(s for _, s in seen), "boot": self.boot_id(), "at": self.micros(now),
            "revision": self.store.revision,
        }
        self.note(8, "baseline taken")

    def void_baseline(self):
        self.store.baseline = None

    # --- what it tells
    def conditions(self, now):
        off = self.off_speed() and not self.lies("fan-slow-hidden")
        bits = self.starting(now) | off << 1
        bits |= (self.store.inhibited and not self.lies("inhibit-not-told")) << 2
        learning = self.lies("learning-on") or self.store.values["adapting"]
        return bits | bool(self.outputs.driven) << 3 | learning << 4 | (self.taking is not None) << 5

    def operated(self):
        return self.outputs.operated(self.store.values, self.alarms, self.faults)

    def nano_flows(self):
        flows = self.flows
        if self.lies("frozen") and self.store.boots > 1 and self.speed == self.wanted_speed():
            self.frozen = flows = self.frozen or flows
        return [round(round(f / FLOW_STEP) * FLOW_STEP / 60_000 * 1e12) for f in flows]

    def reading(self, now, stamp, dropped):
        percent = round(100 * (1 - math.exp(-self.smoke)) / SMOKE_STEP) * SMOKE_STEP
        speed = ROTOR[int(self.store.values["rotor"])] if self.lies("fan-slow-hidden") else self.speed
        current = 0.16 + 0.34 * self.speed**3 + 0.018 * bin(self.operated()).count("1")
        volts = (27.1 if self.site.mains else 25.2) - 0.5 * current
        a, w = self.alarms, self.watch
        return {
            0: stamp, 1: dropped, 2: self.nano_flows(), 3: [round(-math.log(1 - percent / 100) * 1e9)],
            4: round(FULL_REV_S * speed * 1000), 5: 293_150, 6: round(volts * 1000), 7: round(current * 1000),
            8: self.site.inputs, 9: self.operated(), 10: self.faults, 11: self.faults_latched,
            12: w.named(w.low), 13: w.named(w.high), 14: a.bits(a.reached), 15: a.bits(a.latched),
            16: self.conditions(now),
        }

    def drive(self, now, output, seconds):
        if self.lies("drives-other-output"):
            output = output % OUTPUTS + 1
        self.outputs.driven[output - 1] = now + seconds
        self.note(12, f"output {output} driven")
