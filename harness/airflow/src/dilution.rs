//! Dilution: what a hole's smoke becomes at the chamber, and what a hole needs so that the chamber sees a level.
//!
//! What mixes is extinction, by volume; obscurations convert through it. Not here: alarm levels (they live in the job).
use crate::solution::Solution;
use alloc::vec::Vec;
use plumeline_base::{obscuration::Extinction, pipework::Pipework};

/// An opening's share of the flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// Share of the flow of its inlet's pipe, 0 to 1; where inlets are joined in a ring, of all of them together.
    pub of_pipe: f64,
    /// Share of the unit's flow, 0 to 1.
    pub of_unit: f64,
}

/// Shares of all openings, in their order. An opening that takes no air in has none of either.
pub fn shares(pipework: &Pipework, solution: &Solution) -> Vec<Share> {
    let mut all = alloc::vec![Share { of_pipe: 0.0, of_unit: 0.0 }; pipework.openings.len()];
    let joined = pipework.joined_inlets();
    for (inlet, openings) in pipework.openings_by_inlet().into_iter().enumerate() {
        let flows = joined.iter().zip(&solution.inlet_flow_m3_s);
        let pipes: f64 = flows.filter(|(first, _)| **first == joined[inlet]).map(|(_, q)| q).sum();
        for k in openings {
            let q = solution.opening_flow_m3_s[k].max(0.0);
            all[k] = Share { of_pipe: ratio(q, pipes), of_unit: ratio(q, solution.total_flow_m3_s) };
        }
    }
    all
}

pub(crate) fn ratio(part: f64, whole: f64) -> f64 {
    if part > 0.0 && whole > 0.0 { part / whole } else { 0.0 }
}

/// Extinction that smoke at a hole must have for the chamber to see `chamber`, with clean air from everywhere else.
/// `share` is the hole's share of the unit's flow; `None` where the hole draws nothing.
pub fn needed_at_hole(chamber: Extinction, share: f64) -> Option<Extinction> {
    (share > 0.0 && share <= 1.0).then(|| Extinction(chamber.0 / share))
}

/// Extinction at the chamber for `hole` at a hole with this share of the unit's flow and clean air from everywhere else.
pub fn at_chamber(hole: Extinction, share: f64) -> Extinction {
    Extinction(hole.0 * share)
}
