//! The order in which a person walks from opening to opening.
//!
//! By rule: from the unit outward along the pipe; where it divides, what has the lowest hole number first, each arm whole before
//! the next; a hole on a drop tube where its tube leaves the pipe; round a ring once, the way in which the file lays it. Where holes are
//! numbered as a person walks (those of a run are), that is the order of their numbers. Not here: which of them are asked for.
use crate::pipework::{Pipework, SegmentKind};
use alloc::{collections::BTreeMap, vec, vec::Vec};
use core::cmp::Reverse;

/// Something to walk to from a node.
#[derive(Clone, Copy)]
enum Next {
    Opening(usize),
    Arm(usize),
}

impl Pipework {
    /// The inlets (by index) that carry a pipe in the order in which a person walks along their pipes, each with its openings (by
    /// index) in the order in which they are reached. A stated walk goes first: its pipes before others, its holes before others.
    pub fn walking_order(&self) -> Vec<(usize, Vec<usize>)> {
        let walks = Trees::of(self);
        let mut all: Vec<(usize, Vec<usize>)> = (0..self.inlets.len())
            .filter(|i| self.inlets[*i].node.is_some())
            .map(|i| (i, walks.openings(self, i)))
            .collect();
        for (inlet, openings) in &mut all {
            let number = self.inlets[*inlet].number;
            if let Some(stated) = self.walk.iter().find(|w| w.inlet == number) {
                let at: BTreeMap<u32, usize> = stated.holes.iter().enumerate().map(|(i, n)| (*n, i)).collect();
                openings.sort_by_key(|k| at.get(&self.openings[*k].number).copied().unwrap_or(usize::MAX));
            }
        }
        let stated = |inlet: usize| self.walk.iter().position(|w| w.inlet == self.inlets[inlet].number);
        all.sort_by_key(|(inlet, _)| stated(*inlet).unwrap_or(usize::MAX));
        all
    }
}

/// The pipework as trees, walked depth first: a ring is one arm, whose far end is where it began.
struct Trees {
    /// Where each inlet's own pipe begins; a pipe that is joined to another's belongs to the first of their inlets, as everywhere.
    roots: Vec<Option<usize>>,
    /// The arms that begin at each node and have openings, by the nodes that they lead to.
    arms: Vec<Vec<usize>>,
    /// Openings at each node, or on a drop tube from there.
    openings: Vec<Vec<usize>>,
    /// The lowest number at and beyond each node.
    lowest: Vec<Option<u32>>,
}

impl Trees {
    fn of(p: &Pipework) -> Self {
        let n = p.nodes.len();
        let mut openings = vec![Vec::new(); n];
        for (k, o) in p.openings.iter().enumerate() {
            if let Some(at) = openings.get_mut(o.node as usize) {
                at.push(k);
            }
        }
        let mut joined = vec![Vec::new(); n];
        for s in &p.segments {
            let (a, b) = (s.near as usize, s.far as usize);
            if a < n && b < n {
                joined[a].push((b, s.kind));
                joined[b].push((a, s.kind));
            }
        }
        let (mut seen, mut order, mut arms) = (vec![false; n], Vec::new(), vec![Vec::new(); n]);
        let mut roots = vec![None; p.inlets.len()];
        for (i, inlet) in p.inlets.iter().enumerate() {
            let Some(start) = inlet.node.map(|id| id as usize).filter(|at| *at < n && !seen[*at]) else { continue };
            roots[i] = Some(start);
            seen[start] = true;
            order.push(start);
            // Each entry: a node, and how many of its neighbours were looked at.
            let mut way = vec![(start, 0)];
            while let Some((at, looked)) = way.last_mut() {
                let Some(&(to, kind)) = joined[*at].get(*looked) else {
                    way.pop();
                    continue;
                };
                *looked += 1;
                if !core::mem::replace(&mut seen[to], true) {
                    arms[*at].push((to, kind));
                    order.push(to);
                    way.push((to, 0));
                }
            }
        }
        let mut lowest: Vec<Option<u32>> = vec![None; n];
        let mut onward = vec![Vec::new(); n];
        for &at in order.iter().rev() {
            let mut own: Vec<usize> = core::mem::take(&mut openings[at]);
            for &(to, kind) in &arms[at] {
                if kind == SegmentKind::Capillary && onward[to].is_empty() {
                    own.append(&mut openings[to]);
                } else if lowest[to].is_some() {
                    onward[at].push(to);
                }
            }
            let numbers = own.iter().map(|k| p.openings[*k].number);
            lowest[at] = numbers.chain(onward[at].iter().filter_map(|to: &usize| lowest[*to])).min();
            openings[at] = own;
        }
        let arms = onward;
        Self { roots, arms, openings, lowest }
    }

    /// The openings that are listed under an inlet, as they are reached.
    fn openings(&self, p: &Pipework, inlet: usize) -> Vec<usize> {
        let mut walked = Vec::new();
        let mut ahead: Vec<Next> = self.roots[inlet].map(Next::Arm).into_iter().collect();
        while let Some(next) = ahead.pop() {
            match next {
                Next::Opening(k) => walked.push(k),
                Next::Arm(at) => {
                    let divides = self.arms[at].len() > 1;
                    let own = self.openings[at].iter().map(|&k| (false, p.openings[k].number, Next::Opening(k)));
                    let arms = self.arms[at].iter().filter_map(|&to| Some((!divides, self.lowest[to]?, Next::Arm(to))));
                    let mut here: Vec<(bool, u32, Next)> = own.chain(arms).collect();
                    here.sort_by_key(|(beyond, number, _)| Reverse((*beyond, *number)));
                    ahead.extend(here.into_iter().map(|(.., next)| next));
                }
            }
        }
        walked
    }
}

#[cfg(test)]
mod tests {
    use crate::pipework::*;
    use alloc::{string::String, vec, vec::Vec};

    /// Pipes between nodes, openings at nodes by number, and one inlet at each of the last.
    fn pipework(pipes: &[(u32, u32)], holes: &[(u32, u32)], inlets: &[u32]) -> Pipework {
        let nodes = pipes.iter().flat_map(|(a, b)| [*a, *b]).max().map_or(0, |n| n + 1);
        let segment = |&(near, far): &(u32, u32)| Segment {
            near,
            far,
            kind: SegmentKind::Pipe,
            length_m: 1.0,
            bore_m: 0.02,
            roughness_m: 0.0,
            minor_k: 0.0,
            air_temperature_c: None,
            known: 0,
        };
        let opening = |&(node, number): &(u32, u32)| Opening {
            node,
            number,
            kind: OpeningKind::Hole,
            diameter_m: 0.003,
            discharge: 0.65,
            blocked: false,
            outside_pa: 0.0,
            reachable: true,
            known: 0,
            whereabouts: Whereabouts::default(),
        };
        let inlet = |(i, node): (usize, &u32)| Inlet {
            number: i as u8 + 1,
            node: Some(*node),
            loss: Loss::default(),
            bore_m: 0.02,
            volume_m3: 0.0,
        };
        Pipework {
            name: String::new(),
            nodes: vec![Node::default(); nodes as usize],
            segments: pipes.iter().map(segment).collect(),
            openings: holes.iter().map(opening).collect(),
            inlets: inlets.iter().enumerate().map(inlet).collect(),
            unit: AirPath {
                loss: Loss::default(),
                volume_m3: 0.0,
                sensor_lag_s: 0.0,
                drive: Drive::InletSuction(vec![100.0; inlets.len()]),
                exhaust_loss: Loss::default(),
                exhaust_pa: 0.0,
                exhaust_elevation_m: 0.0,
            },
            air: Air { temperature_c: 20.0, pressure_pa: 101_325.0, relative_humidity: 0.5, given: None },
            known: vec![Known::default()],
            walk: Vec::new(),
        }
    }
    fn walked(p: &Pipework) -> Vec<(u8, Vec<u32>)> {
        let numbers = |all: Vec<usize>| all.into_iter().map(|k| p.openings[k].number).collect();
        p.walking_order().into_iter().map(|(i, all)| (p.inlets[i].number, numbers(all))).collect()
    }

    #[test]
    fn along_a_pipe_from_the_unit_whatever_the_order_of_the_file() {
        let p = pipework(&[(2, 3), (0, 1), (1, 2)], &[(3, 3), (1, 1), (2, 2)], &[0]);
        assert_eq!(walked(&p), [(1, vec![1, 2, 3])]);
        // Numbered from the far end: a person still begins at the unit.
        let p = pipework(&[(0, 1), (1, 2), (2, 3)], &[(1, 3), (2, 2), (3, 1)], &[0]);
        assert_eq!(walked(&p), [(1, vec![3, 2, 1])]);
    }
    #[test]
    fn an_arm_is_walked_whole_before_the_next() {
        // Node 1 is a tee: 2-3 and 4-5; numbers go to and fro between the arms.
        let p = pipework(&[(0, 1), (1, 2), (2, 3), (1, 4), (4, 5)], &[(2, 2), (3, 4), (4, 1), (5, 3)], &[0]);
        assert_eq!(walked(&p), [(1, vec![1, 3, 2, 4])]);
        // A branch of a branch.
        let p = pipework(&[(0, 1), (1, 2), (2, 3), (2, 4), (1, 5)], &[(2, 1), (3, 5), (4, 2), (5, 3)], &[0]);
        assert_eq!(walked(&p), [(1, vec![1, 2, 5, 3])]);
    }
    #[test]
    fn a_hole_where_the_pipe_divides_comes_by_its_number() {
        let tee = [(0, 1), (1, 2), (1, 3)];
        assert_eq!(walked(&pipework(&tee, &[(1, 2), (2, 1), (3, 3)], &[0])), [(1, vec![1, 2, 3])]);
        assert_eq!(walked(&pipework(&tee, &[(1, 1), (2, 2), (3, 3)], &[0])), [(1, vec![1, 2, 3])]);
    }
    #[test]
    fn a_hole_on_a_drop_tube_comes_where_its_tube_leaves_the_pipe() {
        let mut p = pipework(&[(0, 1), (1, 2), (2, 3), (3, 4), (2, 5)], &[(1, 1), (5, 2), (3, 3), (4, 4)], &[0]);
        p.segments[4].kind = SegmentKind::Capillary;
        assert_eq!(walked(&p), [(1, vec![1, 2, 3, 4])]);
        // Numbered from the far end: nobody passes it by and comes back.
        p.openings.iter_mut().for_each(|o| o.number = 5 - o.number);
        assert_eq!(walked(&p), [(1, vec![4, 3, 2, 1])]);
        // A tube that divides is walked as a pipe is.
        let mut p = pipework(&[(0, 1), (1, 2), (2, 3), (2, 4), (1, 5)], &[(3, 1), (4, 4), (5, 2)], &[0]);
        p.segments[1].kind = SegmentKind::Capillary;
        assert_eq!(walked(&p), [(1, vec![1, 4, 2])]);
    }
    #[test]
    fn round_a_ring_once_and_into_its_branches_on_the_way() {
        // 1-2-3-4-1 is a ring, 5 hangs on 3; nobody goes back to 1 in between.
        let ring = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 1), (3, 5)];
        let p = pipework(&ring, &[(2, 1), (3, 2), (5, 3), (4, 4)], &[0]);
        assert_eq!(walked(&p), [(1, vec![1, 2, 3, 4])]);
        // Two holes at opposite arms of a ring, numbered crosswise: still once round.
        let p = pipework(&ring, &[(2, 3), (3, 1), (5, 4), (4, 2)], &[0]);
        assert_eq!(walked(&p), [(1, vec![3, 1, 2, 4])]);
    }
    #[test]
    fn every_opening_comes_once_under_the_inlet_that_lists_it() {
        // The pipes of two inlets meet at 3; a third inlet has a pipe of its own; node 9 hangs on nothing.
        let pipes = [(0, 1), (1, 3), (2, 4), (4, 3), (5, 6), (8, 9)];
        let p = pipework(&pipes, &[(1, 1), (4, 3), (3, 2), (6, 1), (9, 1)], &[0, 2, 5]);
        assert_eq!(walked(&p), [(1, vec![1, 2, 3]), (2, vec![]), (3, vec![1])]);
        let mut listed = p.openings_by_inlet();
        let mut order = p.walking_order();
        listed.iter_mut().for_each(|l| l.sort_unstable());
        order.iter_mut().for_each(|(_, l)| l.sort_unstable());
        assert!(order.iter().all(|(i, l)| *l == listed[*i]), "{order:?} {listed:?}");
    }
    #[test]
    fn a_stated_walk_goes_before_the_rule_and_what_it_leaves_out_comes_after() {
        let pipes = [(0, 1), (1, 2), (2, 3), (4, 5), (5, 6)];
        let mut p = pipework(&pipes, &[(1, 1), (2, 2), (3, 3), (5, 1), (6, 2)], &[0, 4]);
        p.walk = vec![Walked { inlet: 2, holes: vec![2] }, Walked { inlet: 1, holes: vec![] }];
        assert_eq!(walked(&p), [(2, vec![2, 1]), (1, vec![1, 2, 3])]);
        p.walk = vec![Walked { inlet: 1, holes: vec![3, 1] }];
        assert_eq!(walked(&p), [(1, vec![3, 1, 2]), (2, vec![1, 2])]);
    }
    #[test]
    fn what_people_call_it_is_fit_to_be_shown() {
        let w = |label: &str, place: &str| Whereabouts { label: label.into(), place: place.into() }.words();
        assert_eq!(w("", ""), "");
        assert_eq!(w("A-04", ""), ", labelled A-04");
        assert_eq!(w("A\u{1b}[2J", "store room\nabove"), ", labelled A\\u001b[2J, \"store room\\u000aabove\"");
    }
}
