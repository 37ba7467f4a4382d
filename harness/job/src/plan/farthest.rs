//! The farthest opening of each pipe, by length of pipe from its inlet.
//!
//! Not here: transport times; the airflow engine computes them.
use plumeline_base::pipework::{Opening, Pipework};
use plumeline_procedure::plan::HoleRef;
use std::{cmp::Ordering, collections::BinaryHeap};

/// A node on the frontier, nearest first.
struct Next(f64, u32);
impl PartialEq for Next {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Next {}
impl PartialOrd for Next {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Next {
    fn cmp(&self, other: &Self) -> Ordering {
        other.0.total_cmp(&self.0).then(other.1.cmp(&self.1))
    }
}

/// For each inlet that carries a pipe, the open hole, cap or end that is farthest from it; of two as far, the one
/// with the higher number. Shortest ways by Dijkstra 1959.
pub(crate) fn farthest(p: &Pipework) -> Vec<(HoleRef, &Opening)> {
    let mut edges: Vec<Vec<(u32, f64)>> = vec![Vec::new(); p.nodes.len()];
    for s in &p.segments {
        for (a, b) in [(s.near, s.far), (s.far, s.near)] {
            if let Some(list) = edges.get_mut(a as usize) {
                list.push((b, s.length_m));
            }
        }
    }
    let mut found = Vec::new();
    let owned = p.openings_by_inlet();
    for (inlet, owned) in p.inlets.iter().zip(owned) {
        let Some(start) = inlet.node else { continue };
        let mut far = vec![f64::INFINITY; p.nodes.len()];
        let mut heap = BinaryHeap::from([Next(0.0, start)]);
        while let Some(Next(d, node)) = heap.pop() {
            let Some(known) = far.get_mut(node as usize).filter(|known| d < **known) else { continue };
            *known = d;
            for (to, length) in edges.get(node as usize).into_iter().flatten() {
                heap.push(Next(d + length, *to));
            }
        }
        let open = owned.iter().filter_map(|i| p.openings.get(*i)).filter(|o| o.diameter_m > 0.0 && !o.blocked);
        let distance = |o: &Opening| far.get(o.node as usize).copied().unwrap_or(0.0);
        if let Some(o) = open.max_by(|a, b| distance(a).total_cmp(&distance(b)).then(a.number.cmp(&b.number))) {
            found.push((HoleRef { inlet: inlet.number, number: o.number }, o));
        }
    }
    found
}
