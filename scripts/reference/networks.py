"""The reference networks: invented pipework of every kind, in the neutral form that the tests read.

A case maps one to one to the engine's pipework: SI units, gauge pressures, a node is an elevation, losses as they act in
the air of the case (Pa per m3/s and Pa per (m3/s)^2). `about` says what the case is for.
"""
import random

RHO, MU = 1.2, 1.81e-5
BORE, ROUGH = 0.021, 1.5e-6
FAN = [[0.0, 400.0], [0.5e-3, 385.0], [1.0e-3, 350.0], [2.0e-3, 250.0], [3.0e-3, 120.0], [4.0e-3, 0.0]]


class Net:
    """Builds one case."""

    def __init__(self, name, about, density=RHO, viscosity=MU):
        self.case = {
            "name": name, "about": about, "density": density, "viscosity": viscosity,
            "nodes": [], "segments": [], "openings": [], "inlets": [],
            "unit": {"loss": [2e4, 2e7], "volume": 2e-4, "lag": 0.0, "exhaust_loss": [0.0, 4e6], "exhaust_pa": 0.0,
                     "exhaust_elevation": 0.0, "fan": {"points": FAN, "linear": True, "speed": 1.0, "density": RHO}},
        }
        self.number = {}

    def node(self, elevation=0.0):
        self.case["nodes"].append(elevation)
        return len(self.case["nodes"]) - 1

    def inlet(self, node="new", loss=(1e4, 3e7), elevation=0.0):
        node = self.node(elevation) if node == "new" else node
        self.case["inlets"].append({"number": len(self.case["inlets"]) + 1, "node": node, "loss": list(loss), "bore": BORE, "volume": 5e-5})
        return node

    def segment(self, near, length, bore=BORE, rough=ROUGH, k=0.0, far=None, kind="pipe", elevation=None, temperature=None):
        if far is None:
            far = self.node(self.case["nodes"][near] if elevation is None else elevation)
        s = {"near": near, "far": far, "kind": kind, "length": length, "bore": bore, "roughness": rough, "minor_k": k}
        if temperature is not None:
            s["temperature"] = temperature
        self.case["segments"].append(s)
        return far

    def hole(self, node, mm, cd=0.62, pipe=0, kind="hole", blocked=False, outside=0.0):
        n = self.number[pipe] = self.number.get(pipe, 0) + 1
        self.case["openings"].append({"node": node, "number": n, "kind": kind, "diameter": mm / 1000, "discharge": cd, "blocked": blocked, "outside": outside})
        return node

    def run(self, near, count, spacing, mm, cap=None, first=None, pipe=0, **seg):
        """`count` holes in a row, then an end cap with a hole of `cap` mm (0: blind) half a spacing on."""
        at = near
        for i in range(count):
            at = self.hole(self.segment(at, first if first and i == 0 else spacing, **seg), mm, pipe=pipe)
        if cap is not None:
            at = self.hole(self.segment(at, spacing / 2, **seg), cap, pipe=pipe, kind="end_cap")
        return at

    def suction(self, *pa):
        del self.case["unit"]["fan"]
        self.case["unit"]["suction"] = list(pa)

    def fan(self, points, speed=1.0, density=RHO):
        self.case["unit"]["fan"] = {"points": points, "linear": True, "speed": speed, "density": density}

    def only(self, **unit):
        self.case["unit"].update(unit)


def simple():
    n = Net("one_hole", "one pipe, one hole at its end")
    n.run(n.inlet(), 1, 10.0, 4.0)
    yield n
    n = Net("no_losses", "one hole straight on the fan: no loss in inlet, unit or exhaust")
    n.only(loss=[0.0, 0.0], exhaust_loss=[0.0, 0.0])
    n.run(n.inlet(loss=(0.0, 0.0)), 3, 5.0, 4.0)
    yield n
    n = Net("two_holes_at_one_node", "two holes of different size at one point of the pipe")
    at = n.run(n.inlet(), 3, 5.0, 3.0)
    n.hole(at, 2.0)
    yield n
    n = Net("one_pipe_10", "one pipe, ten holes, end cap with a hole")
    n.run(n.inlet(), 10, 4.0, 3.0, cap=5.0)
    yield n
    n = Net("one_pipe_25", "one pipe, 25 holes")
    n.run(n.inlet(), 25, 3.0, 2.5, cap=4.0)
    yield n
    n = Net("two_equal", "two equal pipes: equal flows")
    for p in range(2):
        n.run(n.inlet(), 12, 4.0, 3.0, cap=4.0, pipe=p)
    yield n
    n = Net("three_unequal", "three pipes of different length and holes")
    for p, (count, mm) in enumerate([(5, 3.5), (10, 3.0), (18, 2.5)]):
        n.run(n.inlet(), count, 4.0, mm, cap=4.0, pipe=p)
    yield n
    n = Net("four_by_25", "four pipes with 25 holes each: the benchmark case")
    for p in range(4):
        n.run(n.inlet(), 25, 4.0, 2.5 + 0.1 * p, pipe=p)
    yield n
    n = Net("eight_inlets", "eight inlets on one manifold, each with a short pipe")
    for p in range(8):
        n.run(n.inlet(), 3 + p, 3.0, 2.0 + 0.1 * p, cap=2.5, pipe=p)
    yield n
    n = Net("plugged_inlets", "four inlets, two of them plugged")
    for p in range(4):
        if p % 2:
            n.inlet(node=None)
        else:
            n.run(n.inlet(), 8, 4.0, 3.0, cap=4.0, pipe=p)
    yield n


def branched():
    n = Net("u_branch", "one pipe that parts into two legs")
    tee = n.segment(n.inlet(), 6.0, k=0.3)
    for leg in range(2):
        n.run(tee, 8, 3.5, 3.0, cap=3.5, k=0.2)
    yield n
    n = Net("h_branch", "four unequal legs from two tees")
    tee = n.segment(n.inlet(), 4.0)
    for side in range(2):
        t2 = n.segment(tee, 2.0 + side, k=1.1)
        for leg in range(2):
            n.run(t2, 4 + leg + 2 * side, 3.0, 2.6, cap=3.0)
    yield n
    rng = random.Random(1)
    n = Net("random_tree", "a random tree of pipes of several bores")
    nodes = [n.segment(n.inlet(), 2.0)]
    for _ in range(60):
        at = n.segment(rng.choice(nodes[-12:]), round(rng.uniform(0.5, 6), 2), bore=rng.choice([0.016, 0.021, 0.027]), k=round(rng.uniform(0, 1.5), 2))
        nodes.append(at)
        if rng.random() < 0.7:
            n.hole(at, round(rng.uniform(2, 4), 1), cd=round(rng.uniform(0.58, 0.8), 2))
    yield n
    n = Net("drop_tubes", "a pipe with eight capillaries of 6 mm bore, a point at the end of each")
    at = n.inlet()
    for _ in range(8):
        at = n.segment(at, 4.0)
        n.hole(n.segment(at, 2.0, bore=0.006, k=0.5, kind="capillary"), 3.0, cd=0.7)
    yield n
    n = Net("drop_tubes_and_holes", "capillaries of different length between plain holes, on two legs")
    tee = n.segment(n.inlet(), 5.0, k=0.4)
    for leg in range(2):
        at = tee
        for i in range(6):
            at = n.hole(n.segment(at, 3.0), 2.5)
            n.hole(n.segment(at, 0.5 + 0.5 * i, bore=0.008 if leg else 0.005, k=1.5, kind="capillary"), 2.5)
    yield n


def rings():
    n = Net("one_ring", "a ring of 12 holes with one way to the unit")
    start = n.segment(n.inlet(), 5.0)
    at = n.run(start, 12, 3.0, 3.0)
    n.segment(at, 3.0, far=start)
    yield n
    n = Net("ladder", "two rails joined by five rungs: rings in rings")
    a = b = n.segment(n.inlet(), 4.0)
    for i in range(5):
        a = n.hole(n.segment(a, 3.0), 3.0)
        b = n.hole(n.segment(b, 4.0), 2.5)
        n.segment(a, 2.0 + 0.5 * i, far=b, k=0.6)
    yield n
    n = Net("mesh", "a mesh of 4 x 5 points")
    grid = {}
    root = n.inlet()
    for r in range(4):
        for c in range(5):
            if r == c == 0:
                grid[r, c] = n.segment(root, 3.0)
            elif c:
                grid[r, c] = n.segment(grid[r, c - 1], 2.5)
            else:
                grid[r, c] = n.segment(grid[r - 1, c], 3.5)
            if r and c:
                n.segment(grid[r - 1, c], 3.5, far=grid[r, c])
            n.hole(grid[r, c], 2.0 + 0.1 * r + 0.2 * c)
    yield n
    n = Net("two_inlets_one_ring", "a loop that starts at one inlet and ends at another, uneven")
    a = n.inlet()
    at = n.run(a, 10, 3.0, 3.0)
    n.segment(at, 11.0, far=n.inlet(loss=(2e4, 6e7)))
    yield n


def defects():
    n = Net("one_blocked", "the fourth hole of ten blocked")
    n.run(n.inlet(), 10, 4.0, 3.0, cap=4.0)
    n.case["openings"][3]["blocked"] = True
    yield n
    n = Net("every_second_blocked", "every second hole and the end cap blocked: a dead end")
    n.run(n.inlet(), 12, 3.0, 3.0, cap=4.0)
    for o in n.case["openings"][1::2] + n.case["openings"][-1:]:
        o["blocked"] = True
    yield n
    n = Net("one_pipe_all_blocked", "one of two pipes draws nothing")
    for p in range(2):
        n.run(n.inlet(), 6, 4.0, 3.0, cap=4.0, pipe=p)
    for o in n.case["openings"][:7]:
        o["blocked"] = True
    yield n
    n = Net("blind_cap", "an end cap without a hole beyond the last hole")
    n.run(n.inlet(), 8, 4.0, 3.0, cap=0.0)
    yield n
    n = Net("open_end", "the end cap lost: an open pipe end")
    at = n.run(n.inlet(), 8, 4.0, 3.0)
    n.hole(n.segment(at, 2.0), 21.0, cd=0.8, kind="open_end")
    yield n
    n = Net("pipe_off_near_unit", "a joint open near the unit: everything beyond it starves")
    at = n.hole(n.segment(n.inlet(), 1.0), 21.0, cd=0.8, kind="open_end")
    n.run(at, 10, 4.0, 3.0, cap=4.0)
    yield n
    n = Net("starved_far", "forty 6 mm holes on one pipe: the far ones barely draw")
    n.run(n.inlet(), 40, 3.0, 6.0)
    yield n
    n = Net("weak_suction", "0.5 Pa of suction on a long pipe: all laminar, small flows")
    n.run(n.inlet(loss=(0.0, 0.0)), 20, 4.0, 3.0)
    n.suction(0.5)
    yield n


def pressures():
    n = Net("void_backflow", "two holes in a void 60 Pa below the rooms: air leaves by them")
    n.run(n.inlet(), 10, 4.0, 3.0)
    n.fan([[0.0, 60.0], [1e-3, 50.0], [2e-3, 30.0], [4e-3, 0.0]])
    for o in n.case["openings"][6:8]:
        o["outside"] = -60.0
    yield n
    n = Net("two_rooms", "one pipe through two rooms at +12 and -8 Pa")
    n.run(n.inlet(), 12, 3.5, 3.0, cap=3.5)
    for i, o in enumerate(n.case["openings"]):
        o["outside"] = 12.0 if i < 6 else -8.0
    yield n
    n = Net("backflow_leg", "a whole branch under pressure feeds the others backwards")
    tee = n.segment(n.inlet(), 5.0)
    n.run(tee, 6, 3.0, 3.0)
    at = n.run(tee, 6, 3.0, 4.0)
    for o in n.case["openings"][6:]:
        o["outside"] = 250.0
    n.fan([[0.0, 100.0], [1e-3, 90.0], [2e-3, 50.0], [4e-3, -60.0]])
    yield n
    n = Net("exhaust_pressure", "the exhaust ends in a space at +25 Pa")
    n.run(n.inlet(), 10, 4.0, 3.0, cap=4.0)
    n.only(exhaust_pa=25.0)
    yield n
    n = Net("exhaust_draws", "the exhaust ends in a duct at -40 Pa")
    for p in range(2):
        n.run(n.inlet(), 9, 4.0, 2.8, pipe=p)
    n.only(exhaust_pa=-40.0)
    yield n


def drives():
    n = Net("curve_two_points", "a fan curve that is one straight line")
    n.run(n.inlet(), 10, 4.0, 3.0)
    n.fan([[0.0, 300.0], [3e-3, 0.0]])
    yield n
    n = Net("curve_fine", "a fan curve of 12 straight pieces")
    for p in range(2):
        n.run(n.inlet(), 10, 4.0, 3.0, pipe=p)
    n.fan([[q * 4e-4, round(380.0 - 9e6 * (q * 4e-4) ** 1.7 / 4.0, 3)] for q in range(13)])
    yield n
    n = Net("slow_fan", "the fan at 70 % speed in air of 1.1 kg/m3, its curve taken at 1.2", density=1.1, viscosity=1.9e-5)
    n.run(n.inlet(), 15, 4.0, 3.0, cap=4.0)
    n.fan(FAN, speed=0.7)
    yield n
    n = Net("suction_one", "one inlet with a measured suction of 95 Pa, no fan curve")
    n.run(n.inlet(loss=(0.0, 0.0)), 12, 4.0, 3.0, cap=5.0)
    n.suction(95.0)
    yield n
    n = Net("suction_four", "four inlets, each with its own measured suction, one plugged", density=1.16, viscosity=1.85e-5)
    for p in range(4):
        if p == 2:
            n.inlet(node=None, loss=(0.0, 0.0))
        else:
            n.run(n.inlet(loss=(0.0, 0.0)), 8 + 2 * p, 4.0, 2.8, cap=4.0, pipe=p)
    n.suction(90.0, 120.0, 0.0, 60.0)
    yield n
    n = Net("elevations", "a riser of 12 m with holes: no effect while inside and outside air are alike")
    at = n.segment(n.inlet(), 4.0)
    for i in range(10):
        at = n.hole(n.segment(at, 2.5, elevation=round(1.2 * i, 1)), 3.0)
    yield n


def regimes():
    n = Net("laminar", "Re under 2000 everywhere")
    n.run(n.inlet(loss=(0.0, 0.0)), 10, 4.0, 2.0)
    n.suction(40.0)
    yield n
    n = Net("transition", "Re between 2000 and 4000 in most segments")
    tee = n.inlet(loss=(0.0, 0.0))
    n.run(tee, 8, 2.0, 1.5, cap=6.5, first=12.0)
    n.suction(180.0)
    yield n
    n = Net("turbulent_rough", "Re up to 12,000 in a rough pipe of 3/4 in.")
    n.run(n.inlet(loss=(0.0, 0.0)), 12, 2.0, 5.0, cap=8.0, bore=0.02093, rough=4.5e-5)
    n.suction(900.0)
    yield n
    n = Net("fittings", "bends, tees and a reducer: minor losses of several bores")
    at = n.segment(n.inlet(), 3.0, k=2.4, bore=0.027)
    at = n.run(at, 6, 3.0, 3.0, k=0.9)
    n.run(at, 6, 2.0, 2.5, k=1.8, bore=0.016)
    yield n
    n = Net("thin_warm_air", "air of 0.85 kg/m3, as at 3000 m (no inlet or unit losses)", density=0.85, viscosity=1.86e-5)
    n.only(loss=[0.0, 0.0], exhaust_loss=[0.0, 0.0])
    n.run(n.inlet(loss=(0.0, 0.0)), 20, 4.0, 3.0, cap=4.0)
    yield n
    n = Net("cold_dense_air", "air of 1.45 kg/m3, as in a cold store at -30 degC (no inlet or unit losses)", density=1.45, viscosity=1.56e-5)
    n.only(loss=[0.0, 0.0], exhaust_loss=[0.0, 0.0])
    n.run(n.inlet(loss=(0.0, 0.0)), 20, 4.0, 3.0, cap=4.0)
    yield n
    n = Net("tiny_holes", "holes of 0.3 mm: nothing but orifice")
    n.run(n.inlet(), 12, 4.0, 0.3)
    yield n
    n = Net("linear_filter", "a unit with a strong linear loss and a long exhaust")
    n.only(loss=[3e5, 1e6], exhaust_loss=[5e4, 2e7])
    for p in range(2):
        n.run(n.inlet(loss=(1e5, 0.0)), 10, 4.0, 3.0, pipe=p)
    yield n


def thermal():
    """Air of other temperatures inside the pipes: beyond EPANET, solved by scipy alone."""
    n = Net("cold_store", "a riser of 10 m into a cold store at -25 degC and holes there")
    at = n.segment(n.inlet(), 5.0)
    at = n.segment(at, 10.0, elevation=10.0, temperature=-25.0)
    n.run(at, 8, 3.0, 3.0, cap=4.0, temperature=-25.0)
    yield n
    n = Net("warm_void", "one leg 8 m up in a hot ceiling void, one leg below")
    tee = n.segment(n.inlet(), 4.0, k=0.5)
    n.run(n.segment(tee, 8.0, elevation=8.0, temperature=38.0), 8, 3.0, 2.6, temperature=45.0)
    n.run(n.segment(tee, 3.0, elevation=-3.0), 8, 3.0, 2.6)
    yield n
    n = Net("stack_backflow", "a weak fan against a tall warm shaft: upper holes breathe out")
    at = n.inlet()
    n.fan([[0.0, 30.0], [1e-3, 25.0], [2e-3, 10.0], [3e-3, -10.0]])
    n.run(at, 3, 3.0, 3.0)
    for i in range(10):
        at = n.hole(n.segment(at, 4.0, elevation=4.0 * (i + 1), temperature=60.0), 3.0)
    yield n


def large():
    n = Net("comb_2000", "40 legs of 50 holes from one wide header")
    at = n.inlet(loss=(0.0, 0.0))
    for leg in range(40):
        at = n.segment(at, 2.0, bore=0.15)
        n.run(at, 50, 2.0, 1.5)
    n.suction(250.0)
    yield n
    n = Net("line_1500", "1500 holes of 0.5 mm in one row on a wide pipe")
    n.run(n.inlet(loss=(0.0, 0.0)), 1500, 0.5, 0.5, bore=0.05)
    n.suction(120.0)
    yield n
    rng = random.Random(7)
    n = Net("everything", "branches, rings, capillaries, rooms, blocked holes and an open end in one")
    for p in range(3):
        tee = n.segment(n.inlet(), 3.0 + p, k=0.5)
        ends = [n.run(tee, 7, 3.0, 2.6, pipe=p, k=0.1) for _ in range(2)]
        if p < 2:
            n.segment(ends[0], 4.0, far=ends[1])
        else:
            n.hole(n.segment(ends[0], 1.0), 9.0, cd=0.75, kind="open_end", pipe=p)
        for o in n.case["openings"][-9:]:
            o["outside"] = 6.0 * (p - 1)
        n.hole(n.segment(ends[1], 1.7, bore=0.006, kind="capillary"), 3.0, pipe=p, outside=-5.0)
    for o in rng.sample(n.case["openings"], 6):
        o["blocked"] = True
    yield n


def for_epanet(case):
    """Whether EPANET can express the case."""
    return all("temperature" not in s for s in case["segments"])


def cases():
    """All networks."""
    out = []
    for group in (simple, branched, rings, defects, pressures, drives, regimes, thermal, large):
        out += [n.case for n in group()]
    names = [c["name"] for c in out]
    assert len(set(names)) == len(names)
    return out


def random_network(seed):
    """Trees with rings, capillaries, blocked holes, open ends, rooms at other pressures, any fan or suction, any air."""
    rng = random.Random(seed)
    n = Net(f"random {seed}", "", density=round(rng.uniform(0.7, 1.5), 3), viscosity=round(rng.uniform(1.4e-5, 2.2e-5), 8))
    loss = rng.random() < 0.7
    suction = rng.random() < 0.3
    for _ in range(rng.randint(1, 5)):
        nodes = [n.inlet(loss=(rng.uniform(0, 5e4), rng.uniform(0, 1e8)) if loss and not suction else (0.0, 0.0))]
        bore = rng.choice([0.016, 0.021, 0.021, 0.027])
        for _ in range(rng.randint(1, 25)):
            at = nodes[-1] if rng.random() < 0.75 else rng.choice(nodes)
            s = dict(bore=bore if rng.random() < 0.9 else rng.choice([0.006, 0.012, 0.034]), rough=rng.choice([1.5e-6, 1e-5, 1e-4]),
                     k=rng.choice([0.0, 0.0, 0.4, 2.0]))
            new = n.segment(at, round(10 ** rng.uniform(-1, 1.3), 3), **s)
            nodes.append(new)
            if rng.random() < 0.8:
                n.hole(new, round(10 ** rng.uniform(0, 0.8), 2) if rng.random() < 0.97 else 18.0, cd=round(rng.uniform(0.55, 0.9), 2),
                       blocked=rng.random() < 0.1, outside=rng.choice([0.0] * 6 + [15.0, -10.0, -80.0]))
        for _ in range(rng.choice([0, 0, 0, 1, 3])):
            if len(nodes) > 4:
                a, b = rng.sample(nodes[1:], 2)
                n.segment(a, round(rng.uniform(0.5, 10), 2), bore=bore, far=b)
    if all(o["blocked"] for o in n.case["openings"]):
        n.hole(n.segment(0, 2.0), 3.0)
    if suction:
        n.suction(*[round(10 ** rng.uniform(0, 3), 1) for _ in n.case["inlets"]])
    else:
        p, q = 10 ** rng.uniform(1.3, 3), 10 ** rng.uniform(-3, -2)
        n.fan([[0.0, p], [0.3 * q, 0.95 * p], [0.7 * q, 0.6 * p], [q, 0.0]], speed=round(rng.uniform(0.5, 1.4), 2), density=rng.choice([1.2, 1.0]))
        n.only(exhaust_pa=rng.choice([0.0, 0.0, 10.0, -10.0]))
        if not loss:
            n.only(loss=[0.0, 0.0], exhaust_loss=[0.0, 0.0])
    return n.case
