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
        let mut parent = vec![0u32; first_inlet];
        let mut node = vec![NONE; first_inlet];
        let mut position = vec![NONE; p.nodes.len()];
        let mut inlet = Vec::new();
        for (i, one) in p.inlets.iter().enumerate() {
            if let Some(id) = one.node {
                position[id as usize] = parent.len() as u32;
                parent.push(if fan { 1 } else { 0 });
                node.push(id);
                inlet.push(i as u32);
            }
        }
        let first_pipe = parent.len();
        let mut segment = vec![NONE; first_pipe];
        let mut drawn = vec![1.0; first_pipe];
        let (start, adjacent) = adjacency(p);
        let mut chords = Vec::new();
        let mut used = vec![false; p.segments.len()];
        // Breadth first: neighbours in the order are independent of one another, which lets the sweeps overlap.
        let mut at = first_inlet;
        while at < parent.len() {
            let here = node[at] as usize;
            for &s in &adjacent[start[here] as usize..start[here + 1] as usize] {
                if core::mem::replace(&mut used[s as usize], true) {
                    continue;
                }
                let seg = &p.segments[s as usize];
                let other = if seg.near as usize == here { seg.far } else { seg.near };
                if position[other as usize] == NONE {
                    position[other as usize] = parent.len() as u32;
                    parent.push(at as u32);
                    node.push(other);
                    segment.push(s);
                    drawn.push(if seg.far == other { 1.0 } else { -1.0 });
                } else {
                    chords.push(s);
                }
            }
            at += 1;
        }
        if chords.len() > MAX_RINGS {
            return Err(BuildError::new(Place::Pipework, Fault::TooManyRings(chords.len(), MAX_RINGS)));
        }
        for (i, o) in p.openings.iter().enumerate() {
            if position[o.node as usize] == NONE {
                return Err(BuildError::new(Place::Opening(i), Fault::Unjoined));
            }
        }
        if let Some(i) = position.iter().position(|&at| at == NONE) {
            return Err(BuildError::new(Place::Node(i), Fault::Unjoined));
        }
        let chords = chords
            .into_iter()
            .map(|s| {
                let seg = &p.segments[s as usize];
                (s, position[seg.far as usize], position[seg.near as usize])
            })
            .collect();
        let mut open: Vec<u32> = (0..p.openings.len() as u32)
            .filter(|&k| !p.openings[k as usize].blocked && p.openings[k as usize].diameter_m > 0.0)
            .collect();
        if open.is_empty() {
            return Err(BuildError::new(Place::Pipework, Fault::NothingOpen));
        }
        open.sort_by_key(|&k| position[p.openings[k as usize].node as usize]);
        let open_at = open.iter().map(|&k| position[p.openings[k as usize].node as usize]).collect();
        let opening_node = p.openings.iter().map(|o| o.node).collect();
        Ok(Self {
            parent,
            segment,
            drawn,
            first_inlet,
            first_pipe,
            inlet,
            position,
            opening_node,
            chords,
            open,
            open_at,
        })
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
