"""Solve a reference network with EPANET 2.3 (owa-epanet, in-process).

EPANET moves water from a reservoir to emitters; sampling pipework moves air from holes to a fan. Friction, minor losses
and orifices are odd in the flow, so the same network with every head negated and every flow turned round is the
same problem: exhaust = reservoir, fan = pump, holes = emitters at an elevation of minus the pressure outside.

Units: EPANET computes in feet and seconds with g = 32.2 ft/s2. One of its feet stands for LENGTH metres here, which puts
lengths, flows and heads near 1 to 1e5, far from its absolute floors. Heads are p / (rho g) in that system.
A loss "linear q + quadratic q|q|" becomes a pipe so wide that it stays laminar (exactly linear) with a minor loss.
"""
import math
import os
import tempfile

import numpy as np
from epanet import toolkit as en

G = 32.2  # ft/s2, EPANET's own
LENGTH = 0.01  # metres per EPANET foot
MINOR = 8.0 / (math.pi**2 * G)  # exact coefficient of K q^2 / d^4, ft
MINOR_EPANET = 0.02517  # EPANET's rounded one


def head(p, rho):
    """Pressure in Pa as EPANET feet."""
    return p / rho / (LENGTH**2) / G


def node_names(case):
    """EPANET's name of each node; an inlet without loss is one point with the manifold."""
    names = [f"N{i}" for i in range(len(case["nodes"]))]
    if "fan" in case["unit"]:
        for inlet in case["inlets"]:
            if inlet["node"] is not None and not any(inlet["loss"]):
                names[inlet["node"]] = "M"
    return names


class _Inp:
    def __init__(self):
        self.junctions, self.reservoirs, self.pipes, self.pumps, self.emitters, self.curve = [], [], [], [], [], []

    def junction(self, name, elevation=0.0):
        self.junctions.append(f"{name} {elevation!r} 0")

    def reservoir(self, name, h):
        self.reservoirs.append(f"{name} {h!r}")

    def pipe(self, name, a, b, length, bore, rough, minor_k):
        # Lengths in feet, diameters in inches, roughness in thousandths of a foot (0 is refused).
        rough = max(rough, 1e-16)
        self.pipes.append(
            f"{name} {a} {b} {length / LENGTH!r} {bore / LENGTH * 12!r} {rough / LENGTH * 1000!r} {minor_k * MINOR / MINOR_EPANET!r}"
        )

    def loss(self, name, a, b, loss, q_max, nu, rho):
        """A pipe with dp = linear q + quadratic q|q| for |q| <= q_max: laminar, Re <= 1000 there."""
        linear, quadratic = loss
        bore = max(4 * q_max / (math.pi * nu * 1000.0), 0.05)
        linear = max(linear, quadratic * q_max * 1e-12)
        length = linear / rho * math.pi * bore**4 / (128.0 * nu)
        area = math.pi * bore**2 / 4
        self.pipe(name, a, b, length, bore, 0.0, quadratic * 2 * area**2 / rho)

    def text(self, nu):
        viscosity = nu / LENGTH**2 / 1.1e-5
        return "\n".join(
            ["[JUNCTIONS]", *self.junctions, "[RESERVOIRS]", *self.reservoirs, "[PIPES]", *self.pipes, "[PUMPS]", *self.pumps,
             "[EMITTERS]", *self.emitters, "[CURVES]", *self.curve,
             "[OPTIONS]", "UNITS CFS", "HEADLOSS D-W", f"VISCOSITY {viscosity!r}", f"SPECIFIC GRAVITY {1 / 0.4333!r}",
             "EMITTER EXPONENT 0.5", "TRIALS 500", "ACCURACY 0.00001", "[REPORT]", "STATUS NO", "[END]", ""])


def build(case):
    """The EPANET input text of a case, and what is needed to read the answer back."""
    rho, nu = case["density"], case["viscosity"] / case["density"]
    inp = _Inp()
    unit = case["unit"]
    names = node_names(case)
    by_node = {}
    for k, o in enumerate(case["openings"]):
        if not o["blocked"] and o["diameter"] > 0:
            by_node.setdefault(o["node"], []).append(k)
    area = [o["discharge"] * math.pi * o["diameter"] ** 2 / 4 for o in case["openings"]]
    fixed = {}
    if "suction" in unit:
        for k, inlet in enumerate(case["inlets"]):
            if inlet["node"] is not None:
                fixed[inlet["node"]] = head(unit["suction"][k], rho)
    for i in range(len(case["nodes"])):
        outside = 0.0
        if i in by_node:
            outs = {case["openings"][k]["outside"] for k in by_node[i]}
            assert len(outs) == 1, "openings at one node share the pressure outside in these cases"
            outside = outs.pop()
            # q = coefficient * sqrt(head), feet and cubic feet per second
            coefficient = sum(area[k] for k in by_node[i]) / LENGTH**2 * math.sqrt(2 * G)
            # With this specific gravity EPANET's psi are feet to the rounding of its own constant.
            inp.emitters.append(f"N{i} {coefficient!r}")
        if i in fixed or names[i] == "M":
            assert i not in by_node, "no opening at these nodes in these cases"
            if i in fixed:
                inp.reservoir(names[i], fixed[i])
        else:
            inp.junction(names[i], -head(outside, rho))
    for k, s in enumerate(case["segments"]):
        inp.pipe(f"S{k}", names[s["near"]], names[s["far"]], s["length"], s["bore"], s["roughness"], s["minor_k"])
    if "fan" in unit:
        fan = unit["fan"]
        n, scale = fan["speed"], rho / fan["density"]
        points = [(q * n, p * n * n * scale) for q, p in fan["points"]]
        assert fan["linear"]
        while len(points) < 4:  # EPANET fits a power function to 3: split the last piece, the curve is the same
            (qa, pa), (qb, pb) = points[-2:]
            points.insert(-1, ((qa + qb) / 2, (pa + pb) / 2))
        q_max = 2 * points[-1][0]
        inp.reservoir("EX", -head(unit["exhaust_pa"], rho))
        at = "EX"
        if any(unit["exhaust_loss"]):
            inp.junction("XF")
            inp.loss("XL", "EX", "XF", unit["exhaust_loss"], q_max, nu, rho)
            at = "XF"
        inp.junction("M")
        to = "M"
        if any(unit["loss"]):
            inp.junction("F")
            inp.loss("UL", "F", "M", unit["loss"], q_max, nu, rho)
            to = "F"
        inp.pumps.append(f"FAN {at} {to} HEAD C")
        inp.curve += [f"C {q / LENGTH**3!r} {head(p, rho)!r}" for q, p in points]
        for k, inlet in enumerate(case["inlets"]):
            if inlet["node"] is not None and any(inlet["loss"]):
                inp.loss(f"I{k}", "M", names[inlet["node"]], inlet["loss"], q_max, nu, rho)
    return inp.text(nu), by_node, area


class Project:
    """An open EPANET project with the tightest accuracy that helps."""

    def __init__(self, text):
        self.dir = tempfile.TemporaryDirectory()
        path = os.path.join(self.dir.name, "net.inp")
        with open(path, "w") as f:
            f.write(text)
        self.ph = en.createproject()
        en.open(self.ph, path, os.path.join(self.dir.name, "net.rpt"), os.path.join(self.dir.name, "net.out"))

    def accuracy(self, head_error, flow_change):
        """Largest head error (feet) and flow change (cfs) still accepted."""
        en.setoption(self.ph, en.HEADERROR, head_error)
        en.setoption(self.ph, en.FLOWCHANGE, flow_change)

    def close(self):
        en.close(self.ph)
        en.deleteproject(self.ph)
        self.dir.cleanup()


def solve(case):
    """Flows in m3/s (into openings, far to near in segments, into inlets) and node pressures in Pa."""
    text, by_node, area = build(case)
    project = Project(text)
    ph = project.ph
    project.accuracy(1e-9, 1e-10)
    en.openH(ph)
    en.initH(ph, 10)
    en.runH(ph)
    relative = en.getstatistic(ph, en.RELATIVEERROR)
    rho = case["density"]
    names = node_names(case)
    heads = []
    openings = [0.0] * len(case["openings"])
    for i in range(len(case["nodes"])):
        index = en.getnodeindex(ph, names[i])
        heads.append(en.getnodevalue(ph, index, en.HEAD))
        if i in by_node:
            q = en.getnodevalue(ph, index, en.EMITTERFLOW) * LENGTH**3
            total = sum(area[k] for k in by_node[i])
            for k in by_node[i]:
                openings[k] = q * area[k] / total
    segments = [en.getlinkvalue(ph, en.getlinkindex(ph, f"S{k}"), en.FLOW) * LENGTH**3 for k in range(len(case["segments"]))]
    en.closeH(ph)
    project.close()
    pressure = [-h * rho * LENGTH**2 * G for h in heads]
    return {
        "openings": np.array(openings),
        "segments": np.array(segments),
        "pressure": np.array(pressure),
        "relative_error": relative,
    }
