//! Which parts of the pipework stand on one line of a drawing: runs with their stations, branches hanging from them.
//!
//! A run goes on through the larger part of the pipework at every tee, so that branches nest no deeper than the logarithm
//! of the number of parts. Not here: coordinates.
use crate::places::Forest;
use plumeline_base::pipework::{Pipework, SegmentKind};

/// A line of pipe with what sits along it.
#[derive(Debug, Default)]
pub struct Run {
    /// What sits along it, from its beginning.
    pub stations: Vec<Station>,
}

/// Something that is drawn along a run.
#[derive(Debug)]
pub struct Station {
    /// Pipe from the station before it, m; 0 where both are at one place.
    pub gap_m: f64,
    /// What it is.
    pub what: What,
}

/// What is drawn.
#[derive(Debug)]
pub enum What {
    /// An opening (by index), perhaps at the end of a drop tube of this length, m.
    Opening {
        /// Position among the openings.
        index: usize,
        /// Length of its drop tube.
        drop_m: Option<f64>,
    },
    /// A tee, and what branches off.
    Branch(Run),
    /// One end of a length that closes a ring: its number, from 0, and its length, m.
    Ring {
        /// Its number.
        number: usize,
        /// Its length.
        length_m: f64,
    },
    /// A dead end.
    End,
}

impl Run {
    /// Columns that the run takes with all of its branches hanging below it, each from the column behind its tee.
    pub fn columns(&self) -> usize {
        let branch = |(i, s): (usize, &Station)| match &s.what {
            What::Branch(run) => i + 1 + run.columns(),
            _ => 0,
        };
        self.stations.iter().enumerate().map(branch).fold(self.stations.len(), usize::max)
    }
    /// One of them hangs on a drop tube.
    pub fn has_drop(stations: &[Station]) -> bool {
        stations.iter().any(|s| matches!(s.what, What::Opening { drop_m: Some(_), .. }))
    }
}

/// The runs of all inlets that carry a pipe, each with the inlet's index.
pub fn runs(p: &Pipework, forest: &Forest) -> Vec<(usize, Run)> {
    let mut size = vec![1usize; p.nodes.len()];
    for &at in forest.order.iter().rev() {
        size[at] += forest.out[at].iter().map(|&(to, _)| size[to]).sum::<usize>();
    }
    let mut rings = vec![Vec::new(); p.nodes.len()];
    for (number, &s) in forest.closing.iter().enumerate() {
        rings[p.segments[s].near as usize].push((number, s));
        rings[p.segments[s].far as usize].push((number, s));
    }
    let planner = Planner { p, forest, size, rings };
    let inlets = p.inlets.iter().enumerate().filter_map(|(i, inlet)| Some((i, inlet.node? as usize)));
    inlets.map(|(i, at)| (i, planner.run(at, 0.0))).collect()
}

struct Planner<'a> {
    p: &'a Pipework,
    forest: &'a Forest,
    /// Nodes at and beyond each node.
    size: Vec<usize>,
    /// Ends of ring-closing segments at each node.
    rings: Vec<Vec<(usize, usize)>>,
}

impl Planner<'_> {
    fn run(&self, from: usize, gap_m: f64) -> Run {
        let (mut at, mut gap) = (from, gap_m);
        let mut stations = Vec::new();
        loop {
            let mut put = |what| stations.push(Station { gap_m: std::mem::take(&mut gap), what });
            for &index in &self.forest.openings[at] {
                put(What::Opening { index, drop_m: None });
            }
            for &(number, s) in &self.rings[at] {
                put(What::Ring { number, length_m: self.p.segments[s].length_m });
            }
            let mut onward: Option<(usize, f64)> = None;
            let mut branches = Vec::new();
            for &(to, s) in &self.forest.out[at] {
                let length_m = self.p.segments[s].length_m;
                match self.drop_tube(to, s) {
                    Some(index) => put(What::Opening { index, drop_m: Some(length_m) }),
                    None if onward.is_none_or(|(o, _)| self.size[to] > self.size[o]) => {
                        branches.extend(onward.replace((to, length_m)));
                    }
                    None => branches.push((to, length_m)),
                }
            }
            for (to, length_m) in branches {
                put(What::Branch(self.run(to, length_m)));
            }
            match onward {
                Some((to, length_m)) => (at, gap) = (to, gap + length_m),
                None => {
                    if gap > 0.0 || stations.is_empty() {
                        stations.push(Station { gap_m: gap, what: What::End });
                    }
                    return Run { stations };
                }
            }
        }
    }
    /// The opening at the end of a drop tube, if this segment is one and nothing else hangs from it.
    fn drop_tube(&self, to: usize, segment: usize) -> Option<usize> {
        let alone = self.forest.out[to].is_empty() && self.rings[to].is_empty();
        match self.forest.openings[to][..] {
            [index] if alone && self.p.segments[segment].kind == SegmentKind::Capillary => Some(index),
            _ => None,
        }
    }
}
