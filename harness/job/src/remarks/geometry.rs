//! Geometry that no usual pipework has: slips of a unit, a decimal point or a number.
//!
//! Not here: what is refused when the file is read, and what the engine predicts.
use super::{Code, Remark};
use crate::{folder, pipework::PipeworkFile};
use plumeline_base::pipework::{OpeningKind, Pipework, SegmentKind};
use std::collections::{BTreeMap, BTreeSet};

// Common practice, no source: wide enough for every sampling pipe that is built.
/// Least distance of two openings along the pipe, m.
const LEAST_APART_M: f64 = 0.05;
/// Diameters of holes, m.
const HOLE_M: std::ops::RangeInclusive<f64> = 0.001..=0.010;
/// Bores of sampling pipes, m.
const BORE_M: std::ops::RangeInclusive<f64> = 0.010..=0.060;
/// Length of pipe on one inlet, m.
const PIPE_M: std::ops::RangeInclusive<f64> = 0.5..=200.0;
/// Height above or below the unit, m.
const HEIGHT_M: f64 = 50.0;

/// What is implausible about the pipes.
pub fn implausible(file: &PipeworkFile) -> Vec<Remark> {
    let p = &file.pipework;
    let pipes = Pipes::of(p);
    [pipes.close(), pipes.holes(), pipes.bores(), pipes.lengths(), pipes.heights(), pipes.ends()].concat()
}

/// A pipework with what belongs to each inlet.
struct Pipes<'a> {
    p: &'a Pipework,
    /// Segments at each node.
    at: BTreeMap<u32, Vec<usize>>,
    /// Inlet number with its openings.
    openings: Vec<(u8, Vec<usize>)>,
}
impl<'a> Pipes<'a> {
    fn of(p: &'a Pipework) -> Self {
        let mut at: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (i, s) in p.segments.iter().enumerate() {
            at.entry(s.near).or_default().push(i);
            at.entry(s.far).or_default().push(i);
        }
        let owned = p.openings_by_inlet();
        let used = p.inlets.iter().zip(owned).filter(|(i, _)| i.node.is_some());
        Self { p, at, openings: used.map(|(i, o)| (i.number, o)).collect() }
    }
    fn remark(&self, code: Code, inlet: u8, says: String) -> Remark {
        Remark::new(code, folder::PIPEWORK, format!("pipe on inlet {inlet}"), says)
    }
    /// Nodes with their distance from `start` along segments, as far as `most`.
    fn within(&self, start: u32, most: f64) -> BTreeMap<u32, f64> {
        let mut known = BTreeMap::from([(start, 0.0)]);
        let mut waiting = vec![(start, 0.0)];
        while let Some((node, distance)) = waiting.pop() {
            for s in self.at.get(&node).into_iter().flatten().filter_map(|i| self.p.segments.get(*i)) {
                let (next, reached) = (if s.near == node { s.far } else { s.near }, distance + s.length_m);
                if reached < most && known.get(&next).is_none_or(|before| reached < *before) {
                    known.insert(next, reached);
                    waiting.push((next, reached));
                }
            }
        }
        known
    }
    /// Holes too close to each other: the first pair of each pipe.
    fn close(&self) -> Vec<Remark> {
        let first = |(inlet, openings): &(u8, Vec<usize>)| {
            let at: BTreeMap<u32, u32> =
                openings.iter().filter_map(|i| self.p.openings.get(*i)).map(|o| (o.node, o.number)).collect();
            at.iter().find_map(|(node, number)| {
                let near = self.within(*node, LEAST_APART_M);
                let (other, apart) = near.iter().find_map(|(n, d)| at.get(n).filter(|o| *o != number).zip(Some(d)))?;
                let says = format!("holes {number} and {other} are {:.0} mm apart", apart * 1e3);
                Some(self.remark(Code::HolesClose, *inlet, says))
            })
        };
        self.openings.iter().filter_map(first).collect()
    }
    /// Diameters of holes and caps. An open end has that of its pipe.
    fn holes(&self) -> Vec<Remark> {
        let of = |(inlet, openings): &(u8, Vec<usize>)| {
            let drilled = openings.iter().filter_map(|i| self.p.openings.get(*i));
            let mut odd = drilled
                .filter(|o| o.kind != OpeningKind::OpenEnd && o.diameter_m > 0.0 && !HOLE_M.contains(&o.diameter_m));
            let worst = odd.next()?;
            let says = format!("hole {} is {} mm wide", worst.number, millimetres(worst.diameter_m));
            Some(self.remark(Code::HoleSize, *inlet, says))
        };
        self.openings.iter().filter_map(of).collect()
    }
    fn bores(&self) -> Vec<Remark> {
        let pipes = self.p.segments.iter().filter(|s| s.kind == SegmentKind::Pipe);
        let odd: BTreeSet<String> =
            pipes.filter(|s| !BORE_M.contains(&s.bore_m)).map(|s| millimetres(s.bore_m)).collect();
        let tell = |bore: String| {
            Remark::new(Code::BoreSize, folder::PIPEWORK, "bore", format!("a pipe is {bore} mm wide inside"))
        };
        odd.into_iter().map(tell).collect()
    }
    /// Length of pipe to the farthest node of each inlet.
    fn lengths(&self) -> Vec<Remark> {
        let inlets = self.p.inlets.iter().filter_map(|i| Some((i.number, i.node?)));
        let odd = inlets.filter_map(|(inlet, node)| {
            let far = self.within(node, f64::INFINITY).into_values().fold(0.0, f64::max);
            let code = match far {
                x if x > *PIPE_M.end() => Code::PipeLong,
                x if x < *PIPE_M.start() => Code::PipeShort,
                _ => return None,
            };
            Some(self.remark(code, inlet, format!("it is {far:.1} m long")))
        });
        odd.collect()
    }
    fn heights(&self) -> Vec<Remark> {
        let height = |n: u32| self.p.nodes.get(n as usize).map_or(0.0, |n| n.elevation_m);
        let jump = self.p.segments.iter().find_map(|s| {
            let rise = height(s.far) - height(s.near);
            // Lengths and rises are rounded in files.
            (rise.abs() > s.length_m * 1.001 + 1e-3).then(|| format!("{:.1} m of pipe rise by {rise:.1} m", s.length_m))
        });
        let far = || {
            let most = self.p.nodes.iter().map(|n| n.elevation_m).max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
            (most.abs() > HEIGHT_M).then(|| format!("a point lies {most:.1} m above the unit"))
        };
        let tell = |says| Remark::new(Code::HeightJump, folder::PIPEWORK, "rise", says);
        jump.or_else(far).map(tell).into_iter().collect()
    }
    /// Every end of a pipe has something that closes it, or is an opening.
    fn ends(&self) -> Vec<Remark> {
        let mut remarks = Vec::new();
        for (inlet, openings) in &self.openings {
            let all: Vec<_> = openings.iter().filter_map(|i| self.p.openings.get(*i)).collect();
            let nodes: BTreeSet<u32> = all.iter().map(|o| o.node).collect();
            let start = self.p.inlets.iter().find(|i| i.number == *inlet).and_then(|i| i.node);
            let reached = start.map(|s| self.within(s, f64::INFINITY)).unwrap_or_default();
            let is_end = |n: &u32| self.at.get(n).is_none_or(|s| s.len() == 1) && Some(*n) != start;
            let bare = reached.keys().filter(|n| is_end(n) && !nodes.contains(n)).count();
            if bare > 0 || all.is_empty() {
                let says = format!("{} of its ends have no cap", bare.max(1));
                remarks.push(self.remark(Code::EndMissing, *inlet, says));
            }
            if let Some(open) = all.iter().find(|o| o.kind == OpeningKind::OpenEnd) {
                remarks.push(self.remark(Code::EndOpen, *inlet, format!("opening {} is an open end", open.number)));
            }
        }
        remarks
    }
}

fn millimetres(m: f64) -> String {
    format!("{:.4}", m * 1e3).trim_end_matches('0').trim_end_matches('.').to_owned()
}
