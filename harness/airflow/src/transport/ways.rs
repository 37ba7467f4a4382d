//! Where air goes from each position, and how long it takes on the mean. Not here: how it spreads on the way.
use crate::network::{Network, coefficients::Coefficients, layout::Layout};
use alloc::{vec, vec::Vec};

/// Flows of a network by its own order of edges, chords and open holes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flows<'a> {
    pub(crate) edges: &'a [f64],
    pub(crate) chords: &'a [f64],
    pub(crate) holes: &'a [f64],
}

/// A way out of a position: to where, through which edge (chords count on from the edges), how much, and how long.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Link {
    pub(crate) to: u32,
    pub(crate) edge: u32,
    pub(crate) flow: f64,
    pub(crate) volume: f64,
}
impl Link {
    pub(crate) fn time(&self) -> f64 {
        self.volume / self.flow
    }
}

/// All ways, and what they amount to.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ways {
    /// Links out of position n: `links[start[n]..start[n + 1]]`.
    start: Vec<u32>,
    links: Vec<Link>,
    /// Positions from which air reaches the unit, nearest first: each comes after all that its links lead to.
    pub(crate) order: Vec<u32>,
    /// Share of a position's air that reaches the unit.
    pub(crate) reach: Vec<f64>,
    /// Mean time of that share to the sensor, s; infinite where none does.
    pub(crate) mean: Vec<f64>,
}

impl Ways {
    pub(crate) fn new(layout: &Layout, laws: &Coefficients, flows: Flows<'_>) -> Self {
        let n = layout.parent.len();
        // Each edge as it flows: from, to, flow.
        let directed = |from: usize, to: usize, q: f64| if q < 0.0 { (to, from, -q) } else { (from, to, q) };
        let all = (1..n)
            .map(|at| (at, directed(at, layout.parent[at] as usize, flows.edges[at]), laws.volume[at]))
            .chain(layout.chords.iter().enumerate().map(|(i, &(_, far, near))| {
                (n + i, directed(far as usize, near as usize, flows.chords[i]), laws.chord_volume[i])
            }))
            .filter(|(_, (_, _, q), _)| *q > 0.0);
        let mut start = vec![0u32; n + 1];
        let mut lost = vec![0.0; n];
        for (_, (from, ..), _) in all.clone() {
            start[from + 1] += 1;
        }
        for (&q, &at) in flows.holes.iter().zip(&layout.open_at) {
            lost[at as usize] += (-q).max(0.0);
        }
        for i in 0..n {
            start[i + 1] += start[i];
        }
        let mut fill = start.clone();
        let blank = Link { to: 0, edge: 0, flow: 0.0, volume: 0.0 };
        let mut links = vec![blank; start[n] as usize];
        let mut into = vec![0u32; n + 1];
        for (edge, (from, to, flow), volume) in all {
            links[fill[from] as usize] = Link { to: to as u32, edge: edge as u32, flow, volume };
            fill[from] += 1;
            into[to + 1] += 1;
        }
        let mut ways = Self { start, links, order: Vec::new(), reach: vec![0.0; n], mean: vec![f64::INFINITY; n] };
        if flows.edges[0] > 0.0 {
            ways.mean[0] = laws.unit_volume / flows.edges[0];
            ways.reach[0] = 1.0;
            ways.walk(into, &lost);
        }
        ways
    }

    /// Sets order, reach and mean from the outside in. `into` counts the links into each position, shifted by one.
    fn walk(&mut self, mut into: Vec<u32>, lost: &[f64]) {
        let n = lost.len();
        for i in 0..n {
            into[i + 1] += into[i];
        }
        let mut from = vec![0u32; self.links.len()];
        let mut fill = into.clone();
        for at in 0..n {
            for link in self.out(at) {
                from[fill[link.to as usize] as usize] = at as u32;
                fill[link.to as usize] += 1;
            }
        }
        let mut waiting: Vec<u32> = (0..n).map(|at| self.start[at + 1] - self.start[at]).collect();
        // Positions that nothing leaves are settled as well: nothing of theirs arrives.
        let mut settled: Vec<u32> = (0..n as u32).filter(|&at| waiting[at as usize] == 0).collect();
        let mut next = 0;
        while next < settled.len() {
            let at = settled[next] as usize;
            next += 1;
            if at != 0 {
                self.settle(at, lost[at]);
            }
            if self.reach[at] > 0.0 {
                self.order.push(at as u32);
            }
            for &source in &from[into[at] as usize..into[at + 1] as usize] {
                waiting[source as usize] -= 1;
                if waiting[source as usize] == 0 {
                    settled.push(source);
                }
            }
        }
    }

    fn settle(&mut self, at: usize, lost: f64) {
        let (mut whole, mut arrives, mut time) = (lost, 0.0, 0.0);
        for link in self.out(at) {
            let share = link.flow * self.reach[link.to as usize];
            whole += link.flow;
            if share > 0.0 {
                arrives += share;
                time += share * (link.time() + self.mean[link.to as usize]);
            }
        }
        if arrives > 0.0 {
            self.reach[at] = arrives / whole;
            self.mean[at] = time / arrives;
        }
    }

    /// Links out of a position.
    pub(crate) fn out(&self, at: usize) -> &[Link] {
        &self.links[self.start[at] as usize..self.start[at + 1] as usize]
    }

    /// The link that carries most of what reaches the unit.
    pub(crate) fn main(&self, at: usize) -> Option<Link> {
        let useful = |l: &Link| l.flow * self.reach[l.to as usize];
        self.out(at).iter().copied().filter(|l| useful(l) > 0.0).fold(None, |best, l| match best {
            Some(b) if useful(&b) >= useful(&l) => Some(b),
            _ => Some(l),
        })
    }
}

/// Mean times of all positions into `mean`, for a tree whose air all flows to the unit; false where that is not so.
pub(crate) fn tree_means(network: &Network, flow: &[f64], mean: &mut [f64]) -> bool {
    let (layout, laws) = (&network.layout, &network.laws);
    if !layout.chords.is_empty() || flow[0] <= 0.0 {
        return false;
    }
    mean[0] = laws.unit_volume / flow[0];
    let mut all = true;
    for at in 1..layout.parent.len() {
        all &= flow[at] > 0.0;
        mean[at] = mean[layout.parent[at] as usize] + laws.volume[at] / flow[at];
    }
    all
}
