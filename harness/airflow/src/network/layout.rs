//! The shape of a network: a forest of pipe nodes in an order where each node follows the one it drains to, and the
//! segments left over, which close rings. Not here: numbers of physics.
use crate::error::{BuildError, Fault, Place};
use alloc::{vec, vec::Vec};
use plumeline_base::pipework::{Drive, Pipework};

/// Most independent rings; each costs a column of a dense system.
pub(crate) const MAX_RINGS: usize = 256;
/// Marks "none" in index vectors.
pub(crate) const NONE: u32 = u32::MAX;

/// Tree positions: 0 is the outside, 1 the manifold (if a fan drives), then the inlets' pipe ends, then the pipe nodes.
/// Position n > 0 drains through edge n to `parent[n] < n`.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    /// Parent of each position.
    pub(crate) parent: Vec<u32>,
    /// Segment of edge n, for n >= `first_pipe`.
    pub(crate) segment: Vec<u32>,
    /// +1 where the edge's segment was drawn with its far end at this position, -1 where the other way round.
    pub(crate) drawn: Vec<f64>,
    /// First position of an inlet's pipe end.
    pub(crate) first_inlet: usize,
    /// First position whose edge is a segment.
    pub(crate) first_pipe: usize,
    /// Inlet (index into `Pipework::inlets`) at position `first_inlet + i`.
    pub(crate) inlet: Vec<u32>,
    /// Position of each node of `Pipework::nodes`.
    pub(crate) position: Vec<u32>,
    /// Node of each opening of `Pipework::openings`.
    pub(crate) opening_node: Vec<u32>,
    /// Segments that close a ring, with the positions of their far and near end.
    pub(crate) chords: Vec<(u32, u32, u32)>,
    /// Openings that air passes (not blocked, not of zero size), by position.
    pub(crate) open: Vec<u32>,
    /// Their positions.
    pub(crate) open_at: Vec<u32>,
}

impl Layout {
    pub(crate) fn build(p: &Pipework) -> Result<Self, BuildError> {
        let fan = matches!(p.unit.drive, Drive::Fan(_));
        let first_inlet = if fan { 2 } else { 1 };
        let mut layout = Self {
            parent: vec![0u32; first_inlet],
            segment: Vec::new(),
            drawn: Vec::new(),
            first_inlet,
            first_pipe: 0,
            inlet: Vec::new(),
            position: vec![NONE; p.nodes.len()],
            opening_node: p.openings.iter().map(|o| o.node).collect(),
            chords: Vec::new(),
            open: Vec::new(),
            open_at: Vec::new(),
        };
        for (i, one) in p.inlets.iter().enumerate() {
            if let Some(id) = one.node {
                layout.position[id as usize] = layout.parent.len() as u32;
                layout.parent.push(if fan { 1 } else { 0 });
                layout.inlet.push(i as u32);
            }
        }
        layout.first_pipe = layout.parent.len();
        layout.walk(p)?;
        for (i, o) in p.openings.iter().enumerate() {
            if layout.position[o.node as usize] == NONE {
                return Err(BuildError::new(Place::Opening(i), Fault::Unjoined));
            }
        }
        if let Some(i) = layout.position.iter().position(|&at| at == NONE) {
            return Err(BuildError::new(Place::Node(i), Fault::Unjoined));
        }
        layout.open = (0..p.openings.len() as u32)
            .filter(|&k| !p.openings[k as usize].blocked && p.openings[k as usize].diameter_m > 0.0)
            .collect();
        if layout.open.is_empty() {
            return Err(BuildError::new(Place::Pipework, Fault::NothingOpen));
        }
        let position = &layout.position;
        let at = |k: &u32| position[p.openings[*k as usize].node as usize];
        layout.open.sort_by_key(at);
        layout.open_at = layout.open.iter().map(at).collect();
        Ok(layout)
    }

    /// Puts the segments into the order, from the inlets' pipe ends on; those that are left over close rings.
    fn walk(&mut self, p: &Pipework) -> Result<(), BuildError> {
        self.segment = vec![NONE; self.first_pipe];
        self.drawn = vec![1.0; self.first_pipe];
        let ends = self.inlet.iter().filter_map(|&i| p.inlets[i as usize].node);
        let mut node: Vec<u32> = core::iter::repeat_n(NONE, self.first_inlet).chain(ends).collect();
        let (start, adjacent) = adjacency(p);
        let mut used = vec![false; p.segments.len()];
        let mut chords = Vec::new();
        // Breadth first: neighbours in the order are independent of one another, which lets the sweeps overlap.
        let mut at = self.first_inlet;
        while at < self.parent.len() {
            let here = node[at] as usize;
            for &s in &adjacent[start[here] as usize..start[here + 1] as usize] {
                if core::mem::replace(&mut used[s as usize], true) {
                    continue;
                }
                let seg = &p.segments[s as usize];
                let other = if seg.near as usize == here { seg.far } else { seg.near };
                if self.position[other as usize] == NONE {
                    self.position[other as usize] = self.parent.len() as u32;
                    self.parent.push(at as u32);
                    node.push(other);
                    self.segment.push(s);
                    self.drawn.push(if seg.far == other { 1.0 } else { -1.0 });
                } else {
                    chords.push(s);
                }
            }
            at += 1;
        }
        if chords.len() > MAX_RINGS {
            return Err(BuildError::new(Place::Pipework, Fault::TooManyRings(chords.len(), MAX_RINGS)));
        }
        let joins = |s: u32| {
            let seg = &p.segments[s as usize];
            (s, self.position[seg.far as usize], self.position[seg.near as usize])
        };
        self.chords = chords.into_iter().map(joins).collect();
        Ok(())
    }
}

/// Segments at each node: those of node i stand at `start[i]..start[i + 1]`.
fn adjacency(p: &Pipework) -> (Vec<u32>, Vec<u32>) {
    let mut start = vec![0u32; p.nodes.len() + 1];
    for s in &p.segments {
        start[s.near as usize + 1] += 1;
        start[s.far as usize + 1] += 1;
    }
    for i in 0..p.nodes.len() {
        start[i + 1] += start[i];
    }
    let mut fill = start.clone();
    let mut adjacent = vec![0u32; 2 * p.segments.len()];
    for (i, s) in p.segments.iter().enumerate() {
        for end in [s.near, s.far] {
            adjacent[fill[end as usize] as usize] = i as u32;
            fill[end as usize] += 1;
        }
    }
    (start, adjacent)
}
