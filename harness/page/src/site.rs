//! The pipes and holes of a job as a page draws them, with what is predicted. Told once; nothing of it changes.
use plumeline_base::pipework::{OpeningKind, Pipework};
use plumeline_procedure::JobInputs;
use serde::Serialize;
use std::collections::BTreeMap;

/// Coverage of what is drawn as a band (JCGM 100, 6.3.3: about 95 %).
const COVERAGE: f64 = 2.0;
/// A cubic metre a second in litres a minute.
const L_MIN: f64 = 60_000.0;

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
}
/// A hole.
#[derive(Serialize)]
pub struct Hole {
    /// Its number.
    pub number: u32,
    /// What it is.
    pub words: &'static str,
    /// Length of pipe between it and the unit, m.
    pub along_m: Option<f64>,
    /// A person can get at it.
    pub reachable: bool,
    /// Predicted time to half of the plateau and half of its band, s.
    pub half_s: Option<(f64, f64)>,
}

impl Site {
    /// Of this job.
    pub fn of(inputs: &JobInputs) -> Self {
        let pipework = &inputs.pipework;
        let along = along(pipework);
        let pipes = pipework.inlets.iter().zip(pipework.openings_by_inlet()).filter(|(i, _)| i.node.is_some());
        let pipes = pipes.map(|(inlet, openings)| {
            let predicted = inputs.prediction.inlets.iter().find(|p| p.number == inlet.number);
            let mut holes: Vec<Hole> = openings
                .iter()
                .filter_map(|&k| {
                    let o = pipework.openings.get(k)?;
                    let time = inputs.prediction.openings.iter().find(|p| p.opening == k).map(|p| p.half_plateau_s);
                    Some(Hole {
                        number: o.number,
                        words: match o.kind {
                            OpeningKind::Hole => "hole",
                            OpeningKind::EndCap => "end cap",
                            OpeningKind::OpenEnd => "open end",
                        },
                        along_m: along.get(&o.node).copied(),
                        reachable: o.reachable,
                        half_s: time.filter(|t| t.is_sound()).map(|t| (t.value, COVERAGE * t.u())),
                    })
                })
                .collect();
            holes.sort_by_key(|h| h.number);
            Pipe {
                inlet: inlet.number,
                flow: predicted.map(|p| (p.flow_m3_s.value * L_MIN, COVERAGE * p.flow_m3_s.u() * L_MIN)),
                holes,
            }
        });
        let at = |h: &plumeline_procedure::plan::HoleRef| (h.inlet, h.number);
        Self {
            name: pipework.name.clone(),
            pipes: pipes.collect(),
            walk: inputs.walk().iter().map(at).collect(),
            smoke: inputs.plan.smoke.at.iter().map(at).collect(),
            runs: inputs.plan.smoke.runs,
            transport_limit_s: inputs.plan.limits.transport.value,
        }
    }
}

/// How far each node is from its inlet along the pipe, m.
fn along(pipework: &Pipework) -> BTreeMap<u32, f64> {
    let mut far: BTreeMap<u32, f64> = pipework.inlets.iter().filter_map(|i| Some((i.node?, 0.0))).collect();
    // Each pass reaches at least one node more, or nothing is left to reach.
    for _ in 0..pipework.segments.len() {
        let mut more = false;
        for s in &pipework.segments {
            for (from, to) in [(s.near, s.far), (s.far, s.near)] {
                if let (Some(at), false) = (far.get(&from).copied(), far.contains_key(&to)) {
                    far.insert(to, at + s.length_m);
                    more = true;
                }
            }
        }
        if !more {
            break;
        }
    }
    far
}
