"""Solve a reference network a second way: every flow and pressure an unknown of one system, root found by scipy.

Unknowns: the flow of each segment, opening and inlet, the pressure of each node and of the manifold. Equations: the
loss law along each, continuity at each node. No elimination, no tree order, none of the engine's code. The derivative
of each law comes from a complex step. scipy.optimize.root (MINPACK hybr) finds the root of small systems; larger ones
are solved by Newton steps on the sparse system (scipy.sparse). Both end only when the residual is at rounding level.
"""
import math

import numpy as np
import scipy.sparse as sp
from scipy.optimize import root
from scipy.sparse.linalg import splu

from laws import LAWS

KELVIN = 273.15
Q0, P0 = 1e-3, 100.0  # scales: 60 L/min and 100 Pa


def _interpolate(points, q):
    """Straight pieces through the points; the first and last piece run on."""
    for (qa, pa), (qb, pb) in zip(points, points[1:]):
        if q.real <= qb or (qb, pb) == tuple(points[-1]):
            return pa + (pb - pa) * (q - qa) / (qb - qa)
    raise AssertionError


class System:
    """The equations of one case under one friction law.

    `momentum`: where air joins a straight run (two segments of one bore and an opening between), p + rho V^2 is the same
    just before and just after (momentum theorem, air entering square to the run), and the opening feels the mean pressure.
    """

    def __init__(self, case, law="hagen_dunlop_swamee_jain", momentum=False):
        self.case, self.law = case, LAWS[law]
        self.rho = case["density"]
        self.by = case.get("friction", 1.0)  # a factor on all friction, for tolerances
        self.at_start = None
        seg, opn, inl = case["segments"], case["openings"], case["inlets"]
        # Air of another temperature inside a segment: ideal gas, viscosity by Sutherland's law (S = 110.4 K, US Standard
        # Atmosphere 1976). Flows are mass over the density at the site.
        site = case.get("temperature", 20.0) + KELVIN
        kelvin = np.array([s.get("temperature", site - KELVIN) + KELVIN for s in seg])
        self.ratio = site / kelvin
        self.mu = case["viscosity"] * (kelvin / site) ** 1.5 * (site + 110.4) / (kelvin + 110.4)
        rise = np.array([case["nodes"][s["far"]] - case["nodes"][s["near"]] for s in seg])
        self.lift = self.rho * (1 - self.ratio) * 9.80665 * rise
        inward = {s["far"]: r for s, r in zip(seg, self.ratio)}
        self.open = [k for k, o in enumerate(opn) if not o["blocked"] and o["diameter"] > 0]
        self.live = [k for k, i in enumerate(inl) if i["node"] is not None]
        self.fan = "fan" in case["unit"]
        ns, no, ni, nn = len(seg), len(self.open), len(self.live), len(case["nodes"])
        self.at_q, self.at_o, self.at_i, self.at_p = 0, ns, ns + no, ns + no + ni
        self.at_m = self.at_p + nn
        self.n = self.at_m + (1 if self.fan else 0)
        self.near = np.array([s["near"] for s in seg], dtype=int)
        self.far = np.array([s["far"] for s in seg], dtype=int)
        self.bore = np.array([s["bore"] for s in seg])
        self.area = math.pi * self.bore**2 / 4
        self.length = np.array([s["length"] for s in seg])
        self.rel = np.array([s["roughness"] for s in seg]) / self.bore
        self.k = np.array([s["minor_k"] for s in seg])
        self.o_node = np.array([opn[k]["node"] for k in self.open], dtype=int)
        self.o_out = np.array([opn[k]["outside"] for k in self.open])
        self.o_ca = np.array([opn[k]["discharge"] * math.pi * opn[k]["diameter"] ** 2 / 4 for k in self.open])
        # The air drawn in has the temperature of the segment that takes it.
        self.o_ca *= np.sqrt([inward.get(n, 1.0) for n in self.o_node])
        self.i_node = np.array([inl[k]["node"] for k in self.live], dtype=int)
        self.i_loss = np.array([inl[k]["loss"] for k in self.live]).reshape(-1, 2)
        self.runs = self.find_runs() if momentum else []
        # Continuity: flow into each node = flow out of it.
        rows = np.concatenate([self.near, self.far, self.o_node, self.i_node])
        cols = np.concatenate([np.arange(ns), np.arange(ns), self.at_o + np.arange(no), self.at_i + np.arange(ni)])
        vals = np.concatenate([np.ones(ns), -np.ones(ns), np.ones(no), -np.ones(ni)])
        self.balance = sp.csr_matrix((vals, (rows, cols)), shape=(nn, self.at_p))

    def find_runs(self):
        """(segment, other segment, +1 where the node is the segment's far end or -1) for both segments of each run."""
        inlets = set(self.i_node.tolist())
        at = {}
        for k, (a, b) in enumerate(zip(self.near, self.far)):
            at.setdefault(int(a), []).append((k, -1))
            at.setdefault(int(b), []).append((k, 1))
        out = []
        for n in sorted(set(self.o_node.tolist()) - inlets):
            ends = at[n]
            if len(ends) == 2 and abs(self.bore[ends[0][0]] / self.bore[ends[1][0]] - 1) < 0.05:
                (a, sa), (b, sb) = ends
                out += [(a, b, sa), (b, a, sb)]
        return out

    def friction(self, q):
        """Pressure loss along each segment, Pa; odd in q; complex q for derivatives."""
        s = np.where(q.real < 0, -1.0, 1.0)
        a = s * q
        re = 4 * self.rho * a / (math.pi * self.bore * self.mu)
        laminar = 128 * self.mu / self.ratio * self.length * a / (math.pi * self.bore**4)
        head = self.rho / self.ratio * (a / self.area) ** 2 / 2
        slow = re.real < 1e-3
        f = self.law(np.where(slow, 1.0, re), self.rel)
        return s * (self.by * np.where(slow, laminar, f * self.length / self.bore * head) + self.k * head)

    def unit_rise(self, q):
        """Suction that the unit holds at the manifold at a flow: fan less losses and exhaust pressure, Pa."""
        u = self.case["unit"]
        fan = u["fan"]
        rise = fan["speed"] ** 2 * self.rho / fan["density"] * _interpolate(fan["points"], q / fan["speed"])
        lin, quad = (a + b for a, b in zip(u["loss"], u["exhaust_loss"]))
        return rise - lin * q - quad * q * np.sign(q.real) * q - u["exhaust_pa"]

    def residual(self, x):
        """Scaled residuals of all equations."""
        return self._equations(x)[0]

    def _equations(self, x, jacobian=False):
        h = 1e-30
        q, o = x[: self.at_o] * Q0, x[self.at_o : self.at_i] * Q0
        i, p = x[self.at_i : self.at_p] * Q0, x[self.at_p : self.at_m] * P0
        loss = self.friction(q.astype(complex) + 1j * h) + self.lift
        oq = self.rho / 2 * o * np.abs(o) / self.o_ca**2
        r_seg = (p[self.far] - p[self.near] - loss.real) / P0
        v = q / self.area
        dynamic = self.rho / self.ratio
        for k, other, side in self.runs:
            # The segment's end sits at the node's mean pressure + rho (V^2 + V'^2) / 2 - rho V^2.
            r_seg[k] += side * dynamic[k] * (v[other] ** 2 - v[k] ** 2) / 2 / P0
        r_open = (self.o_out - p[self.o_node] - oq) / P0
        r_bal = self.balance @ np.concatenate([q, o, i]) / Q0
        lin, quad = self.i_loss[:, 0], self.i_loss[:, 1]
        if self.fan:
            m = x[self.at_m] * P0
            r_in = (p[self.i_node] - m - lin * i - quad * i * np.abs(i)) / P0
            total = self.unit_rise(i.sum() + 1j * h)
            r_unit = [(m + total.real) / P0]
        else:
            suction = np.array([self.case["unit"]["suction"][k] for k in self.live])
            r_in, r_unit = (p[self.i_node] + suction) / P0, []
        r = np.concatenate([r_seg, r_open, r_in, r_bal, r_unit])
        if not jacobian:
            return r, None
        ns, no, ni, nn = self.at_o, self.at_i - self.at_o, self.at_p - self.at_i, self.at_m - self.at_p
        a = Q0 / P0
        rs, ro, ri, rb, ru = 0, ns, ns + no, ns + no + ni, ns + no + ni + nn
        s_, o_, i_ = np.arange(ns), np.arange(no), np.arange(ni)
        parts = [
            (rs + s_, self.at_p + self.far, np.ones(ns)), (rs + s_, self.at_p + self.near, -np.ones(ns)),
            (rs + s_, s_, -loss.imag / h * a),
            (ro + o_, self.at_p + self.o_node, -np.ones(no)), (ro + o_, self.at_o + o_, -self.rho * np.abs(o) / self.o_ca**2 * a),
            (ri + i_, self.at_p + self.i_node, np.ones(ni)),
        ]
        if self.runs:
            k, other, side = (np.array(z) for z in zip(*self.runs))
            parts += [(rs + k, k, -side * dynamic[k] * v[k] / self.area[k] * a), (rs + k, other, side * dynamic[k] * v[other] / self.area[other] * a)]
        bal = self.balance.tocoo()
        parts.append((rb + bal.row, bal.col, bal.data))
        if self.fan:
            parts += [
                (ri + i_, np.full(ni, self.at_m), -np.ones(ni)), (ri + i_, self.at_i + i_, -(lin + 2 * quad * np.abs(i)) * a),
                (np.full(1, ru), np.full(1, self.at_m), np.ones(1)), (np.full(ni, ru), self.at_i + i_, np.full(ni, total.imag / h * a)),
            ]
        rows, cols, vals = (np.concatenate(z) for z in zip(*parts))
        return r, sp.csc_matrix((vals, (rows, cols)), shape=(self.n, self.n))

    def start(self):
        """Equal small flow in every opening, all pressures a little below ambient."""
        x = np.zeros(self.n)
        x[: self.at_p] = 0.02
        x[self.at_p :] = -0.5
        return x

    def solve(self, check=True):
        """Flows and pressures as `epanet_network.solve` gives them, with the final residual."""
        x = self.start() if self.at_start is None else self.at_start
        best = np.inf
        for _ in range(200):
            r, j = self._equations(x, jacobian=True)
            size = np.max(np.abs(r))
            if size < 1e-12 and size >= best * 0.5:
                break
            best = min(best, size)
            # A hole with no flow has no derivative: a floor far under any flow of interest.
            d = j.diagonal()
            step = splu((j + sp.diags(np.where(np.abs(d) < 1e-14, -1e-14, 0.0) * (np.arange(self.n) < self.at_i))).tocsc()).solve(-r)
            t = 1.0
            while t > 1e-4 and np.linalg.norm(self.residual(x + t * step)) > (1 - 0.1 * t) * np.linalg.norm(r) and size > 1e-11:
                t /= 2
            x = x + t * step
        if check and self.n <= 150:
            # MINPACK from a point spoilt by 2 %, so that it has to find the way itself.
            spoilt = x * (1 + 0.02 * np.cos(np.arange(self.n)))
            sol = root(lambda y: self._equations(y)[0], spoilt, jac=lambda y: self._equations(y, True)[1].toarray(), method="hybr", tol=1e-14)
            self.hybr_residual = float(np.max(np.abs(sol.fun)))
            self.hybr_shift = float(np.max(np.abs(sol.x - x)))
        residual = float(np.max(np.abs(self.residual(x))))
        openings = np.zeros(len(self.case["openings"]))
        openings[self.open] = x[self.at_o : self.at_i] * Q0
        return {"openings": openings, "segments": x[: self.at_o] * Q0, "pressure": x[self.at_p : self.at_m] * P0,
                "residual": residual, "x": x}
