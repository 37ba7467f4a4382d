"""Which closings of a pipe's holes tell most of each hole where flow is read in steps of 1 %, and whether the stated ± cover.

A second source for `harness/procedure/src/judge/alone.rs`, `harness/measure/src/few.rs` and `joint.rs`: a pipe of its own
(marched from its far end, Hagen-Poiseuille and Blasius), rounded readings drawn here, and the estimates written anew with
numpy. Not here: the project's code; nothing is shared with it but the formulas in docs/measurement.md.

    python3 scripts/closings/check.py          # a table of designs, then coverage and bias; exit code 1 where one is off
"""
import sys

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm, t as student

RHO, MU = 1.2, 1.81e-5
BORE = 0.021
STEP = 1.0  # of the display, % of the normal flow
NOISE = 0.006  # of a reading, as a share of it
ENTRIES = 2  # readings of each state
SPREAD = np.hypot(2 * 0.015, 0.02)  # what a hole may be off by itself: diameter 1.5 %, discharge 2 %
COMMON = np.hypot(2 * 0.01, 0.03)  # all holes alike
FRICTION = 0.10
LINEARITY = 0.03


class Pipe:
    """`n` holes 4 m apart behind 6 m of pipe, the last a wider end; a fan with its losses at the near end."""

    def __init__(self, n=8, diameter=3.0e-3, end=4.0e-3, shut=380.0, most=1.4e-3):
        self.lengths = np.array([6.0] + [4.0] * (n - 1))
        d = np.array([diameter] * (n - 1) + [end])
        self.area = 0.62 * np.pi / 4 * d**2
        self.shut, self.most = shut, most

    def flow(self, scale, is_open, friction=1.0, leak=None):
        """Flow at the unit, m3/s, with the holes' areas scaled. `leak`: (position 0..1 of the first length, area)."""
        area = self.area * scale * is_open
        if leak is None and not area.any():
            return 0.0

        def march(p):
            q = 0.0
            for a, length in zip(area[::-1], self.lengths[::-1]):
                q += a * np.sqrt(2 * p / RHO)
                if leak is not None and length == self.lengths[0]:
                    p = p + self.loss(q, (1 - leak[0]) * length, friction)
                    q += leak[1] * np.sqrt(2 * p / RHO)
                    p = p + self.loss(q, leak[0] * length, friction)
                else:
                    p = p + self.loss(q, length, friction)
            return p, q

        def misfit(p):
            at_unit, q = march(p)
            return self.shut * (1 - (q / self.most) ** 2) - at_unit

        return march(brentq(misfit, 1e-6, self.shut))[1]

    @staticmethod
    def loss(q, length, friction):
        if q <= 0:
            return 0.0
        v = q / (np.pi / 4 * BORE**2)
        re = RHO * v * BORE / MU
        f = max(64 / re, 0.316 * re**-0.25)
        return friction * f * length / BORE * 0.5 * RHO * v * v


def states(design, n):
    """Rows of which holes are open, in the order in which they are read."""
    on = np.ones(n)
    rows = [on.copy()]
    if design == "one closed in turn":
        for k in range(n):
            row = on.copy()
            row[k] = 0
            rows += [row, on.copy()]
    elif design == "closed one after the other, opened on the way back":
        for k in range(n):
            on[k] = 0
            rows.append(on.copy())
        for k in range(n - 1, -1, -1):
            on[k] = 1
            rows.append(on.copy())
    elif design == "closed one after the other, opened in the same order":
        for order in (0, 1):
            for k in range(n):
                on[k] = order
                rows.append(on.copy())
    elif design == "alternate halves (Hadamard)":
        from scipy.linalg import hadamard

        h = hadamard(16)[:, 1 : n + 1]
        rows += [row.astype(float) for row in (h > 0)]
    elif design == "one alone open":
        rows.append(np.zeros(n))
        rows += list(np.eye(n)[::-1])
    return np.array(rows)


def of_design(design, n):
    """± (k = 2) of what each hole draws by itself, %, and readings needed: generalised least squares of all readings."""
    pipe, rows = Pipe(n), states(design, n)
    ones = np.ones(n)
    whole = pipe.flow(ones, ones)

    def read(scale, friction):
        return np.array([pipe.flow(scale, row, friction) for row in rows]) / pipe.flow(scale, ones, friction)

    base, h = read(ones, 1.0), 1e-3
    by_hole = np.array([(read(ones + h * np.eye(n)[k], 1.0) - base) / h for k in range(n)]).T
    by_friction = (read(ones, 1 + h) - base) / h
    by_common = by_hole.sum(axis=1)
    by_linear = base * (1 - base)
    level = base * 100
    # A state is read twice; what the step hides is the same each time, unless the scatter brings it out.
    sd = np.hypot(NOISE * level / np.sqrt(ENTRIES), STEP / np.sqrt(12)) / 100
    # A state that comes again hides the same.
    kinds, which = np.unique(rows, axis=0, return_inverse=True)
    noise = np.diag((NOISE * level / 100) ** 2 / ENTRIES)
    hidden = (which[:, None] == which[None, :]) * (STEP / np.sqrt(12) / 100) ** 2
    known = [(COMMON * by_common), FRICTION * by_friction, LINEARITY * by_linear]
    u = []
    for k in range(n):
        c = noise + hidden + sum(np.outer(v, v) for v in known)
        c += sum(np.outer(by_hole[:, j], by_hole[:, j]) * SPREAD**2 for j in range(n) if j != k)
        drop = [i for i in range(len(rows)) if not (level[i] == 0 or i == 0)]
        if level.min() == 0:
            drop.append(int(np.argmin(level)))
        c, v = c[np.ix_(drop, drop)] + 1e-12 * np.eye(len(drop)), by_hole[drop, k]
        u.append(1 / np.sqrt(v @ np.linalg.solve(c, v)))
    return 200 * np.array(u), len(rows) * ENTRIES


def rounding(sd):
    """What rounding adds to a mean of many readings with this scatter (Widrow and Kollar), %."""
    k = np.arange(1, 61)
    return STEP / (np.pi * np.sqrt(2)) * np.sqrt(np.sum(np.exp(-4 * (np.pi * k * sd / STEP) ** 2) / k**2))


def mean_of(values, pooled):
    """Mean of the readings of one state with its standard uncertainty: few.rs by its description."""
    before = np.sqrt(max(pooled**2 - STEP**2 / 12, 0.0))
    u = np.hypot(pooled / np.sqrt(len(values)), rounding(before))
    if np.ptp(values) == 0:
        u = max(u, STEP / np.sqrt(12))
    return np.mean(values), u


def one_job(rng, pipe, predicted):
    """Estimated and true shares of one pipe as built: (off, stated u, true off) of each hole."""
    n = len(pipe.area)
    own = 1 + SPREAD * rng.standard_normal(n)
    alike, friction = 1 + COMMON * rng.standard_normal(), np.exp(FRICTION * rng.standard_normal())
    bend = LINEARITY * rng.standard_normal()
    gain = rng.uniform(75, 125)
    rows = states("one alone open", n)
    true = np.array([pipe.flow(own * alike, row, friction) for row in rows])
    share = true / true[0]
    level = gain * share * (1 + bend * (1 - share))
    typed = np.round((level[:, None] * (1 + NOISE * rng.standard_normal((len(rows), ENTRIES)))) / STEP) * STEP
    groups = typed.var(axis=1, ddof=1)
    settle = np.round(level[0] * (1 + NOISE * rng.standard_normal(6)) / STEP).var(ddof=1)
    pooled = np.sqrt((groups.sum() + 5 * settle) / (len(groups) + 5))
    means = [mean_of(v, pooled) for v in typed]
    (whole, u_whole), (shut, u_shut) = means[0], means[1]
    alone = means[2:][::-1]
    off = np.array([(m - shut) / (p * whole) - 1 for (m, _), p in zip(alone, predicted)])
    u = np.array([um / (p * whole) for (_, um), p in zip(alone, predicted)])
    readings = np.array([[u_shut / (p * whole), u_whole / whole, LINEARITY] for p in predicted])
    return off, u, readings, own, friction


def parted(off, u, causes):
    """Each hole's own part and its u by the others: the conditional normal distribution (Rasmussen and Williams, A.6)."""
    n, result = len(off), []
    for i in range(n):
        others = [j for j in range(n) if j != i]
        c_oo = causes[others] @ causes[others].T + np.diag(u[others] ** 2 + SPREAD**2)
        c_io = causes[i] @ causes[others].T
        gain = np.linalg.solve(c_oo, c_io)
        value = gain @ off[others]
        variance = causes[i] @ causes[i] - gain @ c_io
        result.append((off[i] - value, np.sqrt(u[i] ** 2 + max(variance, 0.0))))
    return np.array(result)


def coverage(jobs, n, seed):
    """Coverage of the own parts' ±, their bias, and coverage of what all holes are off together."""
    rng, pipe = np.random.default_rng(seed), Pipe(n)
    ones = np.ones(n)
    whole = pipe.flow(ones, ones)
    rows = np.eye(n)
    predicted = np.array([pipe.flow(ones, row) / whole for row in rows])
    h = 1e-3

    def shares(scale, friction=1.0):
        return np.array([pipe.flow(scale, row, friction) for row in rows]) / pipe.flow(scale, ones, friction) / predicted

    laws = np.array([COMMON * (shares(ones * (1 + h)) - 1) / h, FRICTION * (shares(ones, 1 + h) - 1) / h]).T
    alone = np.array([(pipe.flow(ones + h * row, row) / pipe.flow(ones, row) - 1) / h for row in rows])
    pulls, errors, together = [], [], []
    for _ in range(jobs):
        off, u, readings, own, _ = one_job(rng, pipe, predicted)
        causes = np.hstack([laws, readings])
        got = parted(off, u, causes)
        # What is so: by how much the hole's own area changes what it draws alone.
        truth = alone * (own - 1)
        errors.append(got[:, 0] - truth)
        pulls.append(errors[-1] / got[:, 1])
        u_all = np.hypot(np.sqrt((u**2 + SPREAD**2).sum()) / n, np.linalg.norm(causes.mean(axis=0)))
        together.append(off.mean() / u_all)
    pulls, errors = np.array(pulls), np.array(errors)
    k = norm.ppf(0.975)
    return (np.abs(pulls) < k).mean(), errors.mean(), errors.std(), (np.abs(together) < k).mean()


def leaks(jobs, n, seed):
    """How often the interval for what enters elsewhere covers it, and by how much its middle is off; shares of the flow."""
    rng, pipe = np.random.default_rng(seed), Pipe(n)
    ones = np.ones(n)
    covered, off = [], []
    for _ in range(jobs):
        leak = (rng.uniform(), rng.uniform(0, 1.2e-6))
        scale = 1 + SPREAD * rng.standard_normal(n)
        whole, shut = pipe.flow(scale, ones, leak=leak), pipe.flow(scale, 0 * ones, leak=leak)
        true = (whole - pipe_holes(pipe, scale, leak)) / whole
        level = rng.uniform(75, 125)
        typed = np.round(level * shut / whole * (1 + NOISE * rng.standard_normal(ENTRIES)))
        read, u = mean_of(typed, 0.5)
        # The suction where it may be: at the last hole, or at the inlet; against that with all holes closed.
        far, near, closed = suctions(pipe)
        low, high = np.sqrt(far / closed), np.sqrt(near / closed)
        middle = 0.5 * (low + high)
        value = middle * read / level
        wide = np.hypot(0.5 * (high - low) * read / level / np.sqrt(3), middle * u / level)
        covered.append(abs(value - true) < student.ppf(0.975, 1e6) * wide)
        off.append(value - true)
    return np.mean(covered), np.mean(off)


def suctions(pipe):
    """At the last hole and at the inlet with all open, and at the inlet with all closed, Pa."""
    n = len(pipe.area)
    ones = np.ones(n)
    q = pipe.flow(ones, ones)
    near = pipe.shut * (1 - (q / pipe.most) ** 2)

    def misfit(p):
        flow, at = 0.0, p
        for a, length in zip(pipe.area[::-1], pipe.lengths[::-1]):
            flow += a * np.sqrt(2 * at / RHO)
            at = at + pipe.loss(flow, length, 1.0)
        return at - near

    return brentq(misfit, 1e-6, near), near, pipe.shut


def pipe_holes(pipe, scale, leak):
    """What the holes take while the leak is there, m3/s."""
    n = len(pipe.area)
    ones = np.ones(n)
    whole = pipe.flow(scale, ones, leak=leak)
    near = pipe.shut * (1 - (whole / pipe.most) ** 2)

    def march(p):
        q, holes = 0.0, 0.0
        for a, length in zip(pipe.area[::-1] * scale[::-1], pipe.lengths[::-1]):
            dq = a * np.sqrt(2 * p / RHO)
            q, holes = q + dq, holes + dq
            if length == pipe.lengths[0]:
                p = p + pipe.loss(q, (1 - leak[0]) * length, 1.0)
                q += leak[1] * np.sqrt(2 * p / RHO)
                p = p + pipe.loss(q, leak[0] * length, 1.0)
            else:
                p = p + pipe.loss(q, length, 1.0)
        return p, holes

    return march(brentq(lambda p: march(p)[0] - near, 1e-6, near))[1]


DESIGNS = (
    "one closed in turn",
    "closed one after the other, opened on the way back",
    "closed one after the other, opened in the same order",
    "alternate halves (Hadamard)",
    "one alone open",
)


def main():
    print("± (k = 2) of what one hole draws by itself, % of it, steps of 1 %, each state read twice")
    best = {}
    for n in (5, 8, 13):
        for design in DESIGNS:
            u, readings = of_design(design, n)
            best.setdefault(n, []).append(u.max())
            print(f"  {n:2} holes, {design:54} worst {u.max():5.1f}  median {np.median(u):5.1f}  {readings:3} readings")
    failed = []
    for n, all_u in best.items():
        # Whole halves open at once tell a little more of few holes, by more readings and much more tape.
        if all_u[-1] > 1.25 * min(all_u) or all_u[-1] > 0.7 * all_u[0]:
            failed.append(f"{n} holes: one alone open is not among the best")
    for n, seed in ((5, 1), (8, 2), (13, 3)):
        covers, bias, scatter, together = coverage(400, n, seed)
        print(f"{n:2} holes: own part covered {100 * covers:.1f} %, bias {100 * bias:+.2f} %, scatter {100 * scatter:.1f} %; "
              f"all together covered {100 * together:.1f} %")
        # What a step hides is rectangular: the normal interval is somewhat wide for it, never narrow.
        if not 0.93 <= covers <= 0.995 or abs(bias) > 0.005 or together < 0.92:
            failed.append(f"{n} holes: coverage or bias")
    covers, off = leaks(400, 8, 4)
    print(f"what enters elsewhere: covered {100 * covers:.1f} %, off by {100 * off:+.2f} % of the flow")
    if covers < 0.93 or abs(off) > 0.01:
        failed.append("what enters elsewhere")
    for what in failed:
        print("OFF:", what)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
