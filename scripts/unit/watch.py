"""What the unit watches: alarm levels, the flow of each inlet, and which outputs operate. Times are the unit's own seconds.

Not here: the protocol (serve.py), sensors (device.py).
"""
import math

LN10 = math.log(10)
LEVELS, OUTPUTS, INLETS = 2, 3, 3
F_FLOW, F_FAN, F_MAINS, F_BATTERY, F_FILTER, F_COVER, F_LAPSED, F_BASELINE = 0, 1, 4, 5, 6, 7, 8, 9


class Alarms:
    """Levels with threshold, delay and latch."""

    def __init__(self, lies):
        self.lies, self.since = lies, [None] * LEVELS
        self.reached = [False] * LEVELS
        self.latched = [False] * LEVELS

    def threshold(self, values, level):
        """dB/m to extinction, 1/m."""
        return float(values[f"stage.{level + 1}.dose"]) * LN10 / 10

    def step(self, now, extinction, values, before):
        for i in range(LEVELS):
            acted = before if self.lies("old-threshold") else values
            limit = self.threshold(acted, i)
            wait = float(values[f"stage.{i + 1}.hold"]) + (60 if self.lies("alarm-late") else 0)
            dead = self.lies("no-alarm") or (i == 0 and self.lies("lowest-level-dead"))
            dead |= i == LEVELS - 1 and self.lies("highest-level-dead")
            if extinction >= limit and not dead:
                self.since[i] = now if self.since[i] is None else self.since[i]
                self.reached[i] |= now - self.since[i] >= wait
            else:
                self.since[i] = None
                if extinction < 0.9 * limit:
                    self.reached[i] = False
            if self.reached[i] and values[f"stage.{i + 1}.keep"] and not self.lies("latch-not-kept"):
                self.latched[i] = True

    def active(self, level):
        return self.reached[level] or self.latched[level]

    def bits(self, flags):
        if self.lies("levels-swapped"):
            flags = flags[::-1]
        return sum(1 << i for i, on in enumerate(flags) if on)

    def reset(self):
        self.latched = [latched and reached for latched, reached in zip(self.latched, self.reached)]


class FlowWatch:
    """Flow of each inlet in use against its band round the baseline."""

    TAU = 4.0

    def __init__(self, lies):
        self.lies, self.mean = lies, [None] * INLETS
        self.out_since, self.in_since = [None] * INLETS, [None] * INLETS
        self.low, self.high = [False] * INLETS, [False] * INLETS

    def step(self, now, dt, flows, baseline, values, before):
        hold = 60 * float((before if self.lies("old-delay") else values)["draught.hold"])
        for i in range(INLETS):
            m = self.mean[i]
            self.mean[i] = flows[i] if m is None else m + (flows[i] - m) * (1 - math.exp(-dt / self.TAU))
            if baseline is None or not values[f"tube.{i + 1}"]:
                self.low[i] = self.high[i] = False
                self.out_since[i] = None
                continue
            low = self.mean[i] < baseline[i] * (1 - float(values["draught.less"]) / 100)
            high = self.mean[i] > baseline[i] * (1 + float(values["draught.more"]) / 100)
            if low or high:
                self.in_since[i] = None
                self.out_since[i] = now if self.out_since[i] is None else self.out_since[i]
                if now - self.out_since[i] >= hold and not self.lies("flow-fault-never"):
                    self.low[i], self.high[i] = low, high
            else:
                self.out_since[i] = None
                self.in_since[i] = now if self.in_since[i] is None else self.in_since[i]
                if now - self.in_since[i] >= 5 and not self.lies("flow-fault-stays"):
                    self.low[i] = self.high[i] = False

    def named(self, flags):
        """The inlets that a fault names."""
        if any(flags) and self.lies("fault-names-all"):
            return (1 << INLETS) - 1
        bits = sum(1 << i for i, on in enumerate(flags) if on)
        return {1: 2, 2: 1}.get(bits, bits) if self.lies("fault-names-other") else bits


class Outputs:
    """Inhibit with its lease, driven outputs, and what operates."""

    def __init__(self, lies, store):
        self.lies, self.store = lies, store
        self.until = None  # end of the lease; None: it has lapsed, or there is none
        self.lapsed_at = None
        self.driven = {}

    def begin(self, now):
        """A start: an inhibit comes back lapsed."""
        self.lapsed_at = now if self.store.inhibited else None

    def inhibit(self, now, seconds):
        self.store.inhibited, self.store.lease = True, self.store.lease + 1
        self.until, self.lapsed_at = now + seconds, None

    def release(self):
        self.store.inhibited, self.until, self.lapsed_at = False, None, None

    def step(self, now, clear):
        if not self.lies("drive-stays"):
            self.driven = {o: end for o, end in self.driven.items() if now < end}
        if self.until is not None and now >= self.until:
            self.until, self.lapsed_at = None, now
        if self.lapsed_at is not None:
            if self.lies("lapse-gives-back") or (now - self.lapsed_at >= 5 and clear):
                self.release()

    def lapsed(self):
        return self.lapsed_at is not None and not self.lies("lapse-silent")

    def operated(self, values, alarms, faults):
        held = self.store.inhibited and not self.lies("inhibit-not-held")
        bits = 0
        for o in range(OUTPUTS):
            follows = values[f"contact.{o + 1}"]
            on = follows == "trouble" and faults != 0
            if not held:
                on |= follows == "stage-one" and alarms.active(0) or follows == "stage-two" and alarms.active(1)
            bits |= (on or o in self.driven) << o
        return bits
