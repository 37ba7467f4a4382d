//! The pipes and holes of a job as a page draws them, with what is predicted. Told once; nothing of it changes.
use crate::message::plain;
use plumeline_procedure::JobInputs;
use plumeline_runtime::{
    places::{Forest, kind_word},
    runs::{Run, What, runs},
};
use serde::Serialize;
use std::collections::BTreeMap;

/// Coverage of what is drawn as a band (JCGM 100, 6.3.3: about 95 %).
const COVERAGE: f64 = 2.0;
/// A cubic metre a second in litres a minute.
const L_MIN: f64 = 60_000.0;

/// Longest label or words for a place, in characters: as in the file.
const WORDS: usize = 120;

/// All of it.
#[derive(Serialize)]
pub struct Site {
    /// Its name.
    pub name: String,
    /// Those that are there.
    pub pipes: Vec<Pipe>,
    /// Inlet and hole, in the order in which they are asked for.
    pub walk: Vec<(u8, u32)>,
    /// Where smoke is released.
    pub smoke: Vec<(u8, u32)>,
    /// How often, at each.
    pub runs: u8,
    /// The longest time that is allowed, s.
    pub transport_limit_s: f64,
}
/// A pipe.
#[derive(Serialize)]
pub struct Pipe {
    /// Its inlet.
    pub inlet: u8,
    /// Predicted flow and half of its band, L/min.
    pub flow: Option<(f64, f64)>,
    /// By number.
    pub holes: Vec<Hole>,
    /// The pipe as it is drawn: from and to, each by length from the unit and by row.
    pub lines: Vec<Line>,
    /// Lengths that close a ring, drawn likewise.
    pub rings: Vec<Line>,
}
/// From (m along, row) to (m along, row).
pub type Line = [f64; 4];
/// A hole.
#[derive(Serialize)]
pub struct Hole {
    /// Its number.
    pub number: u32,
    /// What it is.
    pub words: &'static str,
    /// What is written beside it.
    pub label: Option<String>,
    /// Where it is, in the words of the pipework file.
    pub place: Option<String>,
    /// Length of pipe between it and the unit, m.
    pub along_m: Option<f64>,
    /// The row of the drawing that it stands in.
    pub row: f64,
    /// A person can get at it.
    pub reachable: bool,
    /// Predicted time to half of the plateau and half of its band, s.
    pub half_s: Option<(f64, f64)>,
}

impl Site {
    /// Of this job.
    pub fn of(inputs: &JobInputs) -> Self {
        let pipework = &inputs.pipework;
        let runs = runs(pipework, &Forest::of(pipework));
        let pipes = pipework.inlets.iter().zip(pipework.openings_by_inlet()).enumerate().filter_map(
            |(i, (inlet, openings))| {
                let drawn = Drawn::of(&runs.iter().find(|(of, _)| *of == i)?.1);
                let predicted = inputs.prediction.inlets.iter().find(|p| p.number == inlet.number);
                let mut holes: Vec<Hole> = openings.iter().filter_map(|&k| hole(inputs, &drawn, k)).collect();
                holes.sort_by_key(|h| h.number);
                Some(Pipe {
                    inlet: inlet.number,
                    flow: predicted.map(|p| (p.flow_m3_s.value * L_MIN, COVERAGE * p.flow_m3_s.u() * L_MIN)),
                    holes,
                    lines: drawn.lines,
                    rings: drawn
                        .rings
                        .into_values()
                        .filter_map(|ends| <[_; 2]>::try_from(ends).ok())
                        .map(|[a, b]| [a.0, a.1, b.0, b.1])
                        .collect(),
                })
            },
        );
        let at = |h: &plumeline_procedure::plan::HoleRef| (h.inlet, h.number);
        Self {
            name: pipework.name.clone(),
            pipes: pipes.collect(),
            walk: inputs.walk().iter().map(at).collect(),
            smoke: inputs.releases().iter().map(at).collect(),
            runs: inputs.plan.smoke.runs,
            transport_limit_s: inputs.plan.limits.transport.value,
        }
    }
    /// A hole by inlet and number.
    pub fn hole(&self, (inlet, number): (u8, u32)) -> Option<&Hole> {
        self.pipes.iter().find(|p| p.inlet == inlet)?.holes.iter().find(|h| h.number == number)
    }
}

fn hole(inputs: &JobInputs, drawn: &Drawn, k: usize) -> Option<Hole> {
    let o = inputs.pipework.openings.get(k)?;
    let time = inputs.prediction.openings.iter().find(|p| p.opening == k).map(|p| p.half_plateau_s);
    let (along_m, row) = drawn.openings.get(&k).map_or((None, 0.0), |at| (Some(at.0), at.1));
    let text = |s: &str| Some(plain(s, WORDS)).filter(|s| !s.is_empty());
    Some(Hole {
        number: o.number,
        words: kind_word(o.kind),
        label: text(&o.whereabouts.label),
        place: text(&o.whereabouts.place),
        along_m,
        row,
        reachable: o.reachable,
        half_s: time.filter(|t| t.is_sound()).map(|t| (t.value, COVERAGE * t.u())),
    })
}

/// A point of a drawing: length of pipe from the unit, m, and row.
type At = (f64, f64);

/// A pipe with its branches, each on a row of its own below the tee that it leaves.
#[derive(Default)]
struct Drawn {
    openings: BTreeMap<usize, At>,
    lines: Vec<Line>,
    /// The ends of the lengths that close rings.
    rings: BTreeMap<usize, Vec<At>>,
    rows: f64,
}
impl Drawn {
    fn of(run: &Run) -> Self {
        let mut drawn = Self::default();
        drawn.run(run, 0.0, 0.0);
        drawn
    }
    fn run(&mut self, run: &Run, from: f64, row: f64) {
        let (mut along, mut drop) = (from, 0.0);
        let mut branches = Vec::new();
        for station in &run.stations {
            along += station.gap_m;
            match &station.what {
                What::Opening { index, drop_m: None } => {
                    self.openings.insert(*index, (along, row));
                }
                What::Opening { index, drop_m: Some(m) } => {
                    drop = DROP;
                    self.openings.insert(*index, (along + m, row + DROP));
                    self.lines.push([along, row, along + m, row + DROP]);
                }
                What::Branch(branch) => branches.push((along, branch)),
                What::Ring { number, .. } => self.rings.entry(*number).or_default().push((along, row)),
                What::End => {}
            }
        }
        self.lines.push([from, row, along, row]);
        self.rows = self.rows.max(row + drop);
        // From the last to the first, so that no line downward crosses a row.
        for (at, branch) in branches.into_iter().rev() {
            let below = self.rows.floor() + 1.0;
            self.lines.push([at, row, at, below]);
            self.run(branch, at, below);
        }
    }
}
/// A hole on a drop tube hangs below its pipe by this part of a row.
const DROP: f64 = 0.5;

#[cfg(test)]
mod tests {
    use super::*;

    fn station(gap_m: f64, what: What) -> plumeline_runtime::runs::Station {
        plumeline_runtime::runs::Station { gap_m, what }
    }
    fn hole(gap_m: f64, index: usize) -> plumeline_runtime::runs::Station {
        station(gap_m, What::Opening { index, drop_m: None })
    }

    #[test]
    fn branches_stand_below_their_tee_and_no_two_holes_at_one_place() {
        let branch = |n| What::Branch(Run { stations: vec![hole(2.0, n), hole(3.0, n + 1)] });
        let stations = vec![
            hole(1.0, 0),
            station(1.0, branch(1)),
            hole(1.0, 3),
            station(0.0, branch(4)),
            station(4.0, What::Opening { index: 6, drop_m: Some(1.5) }),
        ];
        let drawn = Drawn::of(&Run { stations });
        let at: Vec<At> = drawn.openings.values().copied().collect();
        // The branch of the second tee stands above that of the first, so that no line crosses another.
        assert_eq!(at, [(1.0, 0.0), (4.0, 2.0), (7.0, 2.0), (3.0, 0.0), (5.0, 1.0), (8.0, 1.0), (8.5, 0.5)]);
        assert!(drawn.lines.contains(&[2.0, 0.0, 2.0, 2.0]) && drawn.lines.contains(&[3.0, 1.0, 8.0, 1.0]));
    }
    #[test]
    fn both_ends_of_a_ring_are_joined() {
        let ring = |gap| station(gap, What::Ring { number: 0, length_m: 9.0 });
        let drawn = Drawn::of(&Run { stations: vec![ring(2.0), hole(3.0, 0), ring(4.0)] });
        assert_eq!(drawn.rings[&0], [(2.0, 0.0), (9.0, 0.0)]);
    }
}
