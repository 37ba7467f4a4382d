"""Mean transport times from flows alone: volume over flow, summed along the way. Where the way parts (rings), the
time is the flow-weighted mean over the air that arrives; air that leaves by an opening on the way does not."""
import math

import numpy as np


def times(case, openings, segments):
    """Time from each opening to the sensor, s; None where no air enters or next to none does. Flows are mass over
    site density, so the volume of a segment counts at that density too."""
    flow = np.asarray(segments)
    floor = 1e-6 * np.max(np.abs(openings))
    inflow = {}
    for k, inlet in enumerate(case["inlets"]):
        if inlet["node"] is not None:
            n = inlet["node"]
            q = sum((f if s["near"] == n else 0) - (f if s["far"] == n else 0) for s, f in zip(case["segments"], flow))
            q += sum(openings[j] for j, o in enumerate(case["openings"]) if o["node"] == n)
            inflow[n] = (k, q)
    total = sum(q for _, q in inflow.values())
    unit = case["unit"]["volume"] / total if total > 0 else math.inf
    ways = {n: [] for n in range(len(case["nodes"]))}
    for s, f in zip(case["segments"], flow):
        if abs(f) > floor:
            a, b = (s["far"], s["near"]) if f > 0 else (s["near"], s["far"])
            dense = 293.15 / (273.15 + s.get("temperature", 20.0))
            ways[a].append((b, abs(f), math.pi * s["bore"] ** 2 / 4 * s["length"] * dense / abs(f)))
    done = {}

    def arrive(n):
        """Iterative post-order walk: the flow has no closed way round, every step falls in pressure."""
        stack = [n]
        while stack:
            at = stack[-1]
            if at in done:
                stack.pop()
                continue
            wait = [b for b, _, _ in ways[at] if b not in done]
            if wait:
                stack += wait
                continue
            stack.pop()
            # (flow, part of it that arrives, time of that part)
            parts = [(f, done[b][0], t + done[b][1]) for b, f, t in ways[at]]
            parts += [(-q, 0.0, 0.0) for o, q in zip(case["openings"], openings) if o["node"] == at and q < 0]
            if at in inflow and inflow[at][1] > floor:
                k, q = inflow[at]
                parts.append((q, 1.0, case["inlets"][k]["volume"] / q + unit))
            arriving = sum(f * a for f, a, _ in parts)
            done[at] = (arriving / sum(f for f, _, _ in parts), sum(f * a * t for f, a, t in parts if a > 0) / arriving) if arriving > 0 else (0.0, 0.0)
        return done[n]

    out = []
    for o, q in zip(case["openings"], openings):
        arriving, t = arrive(o["node"]) if q > floor else (0.0, 0.0)
        out.append(t if arriving > 0 else None)
    return out
