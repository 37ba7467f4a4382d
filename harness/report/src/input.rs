//! What a report is made from. The caller has it all at the end of a job or of a replay.
use crate::record::Record;
use plumeline_base::{
    obscuration::ObscurationUnit,
    pipework::{OpeningKind, Pipework},
};
use plumeline_job::{account::AccountFile, history::History};
use plumeline_procedure::{outcome::Outcome, plan::Plan};
use serde::Serialize;

/// Everything that a report shows.
#[derive(Clone, Copy, Debug)]
pub struct ReportInput<'a> {
    /// Name of the job, usually of its folder.
    pub name: &'a str,
    /// What the procedure came to.
    pub outcome: &'a Outcome,
    /// What was planned, with limits and their sources.
    pub plan: &'a Plan,
    /// The pipes, see [`PipeFacts::of`].
    pub pipes: &'a [PipeFacts],
    /// What journal and readings tell beyond the outcome: charts, dates, files, overrides.
    pub record: &'a Record,
    /// The unit in which obscuration is shown.
    pub obscuration: ObscurationUnit,
    /// What a reader needs to check that this report belongs to its record.
    pub digests: &'a Digests,
    /// Version of the tool that writes the report.
    pub tool: &'a str,
    /// The account of the carry-over that the loaded settings come from, if they come from one.
    pub carried: Option<&'a AccountFile>,
    /// What earlier jobs at the unit measured, where the job knows of them.
    pub history: Option<&'a History>,
}

/// Digests of the record, hexadecimal SHA-256. Those of the job's own files come with the journal ([`Record::files`]).
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Digests {
    /// Hash of the journal's last line, which binds all lines before it; empty if there is none.
    pub journal_head: String,
    /// SHA-256 of the input log's bytes; empty if there is none.
    pub trace: String,
}

/// A pipe in plain facts.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PipeFacts {
    /// Number of its inlet at the unit.
    pub inlet: u8,
    /// Length of all its segments together, m.
    pub length_m: f64,
    /// Its openings, by number.
    pub openings: Vec<OpeningFacts>,
}

/// An opening in plain facts.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OpeningFacts {
    /// Number along the pipe, from the unit.
    pub number: u32,
    /// `hole`, `end cap` or `open end`.
    pub kind: &'static str,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// The technician can reach it.
    pub reachable: bool,
    /// What people at the site call it; empty where the pipework file does not say.
    #[serde(skip)]
    pub whereabouts: String,
}

impl PipeFacts {
    /// The pipes of a pipework that carry openings, by inlet number. Length goes to the inlet whose openings a
    /// segment's tree holds; in a ring, to the first inlet that reaches it.
    pub fn of(pipework: &Pipework) -> Vec<Self> {
        let nodes = pipework.nodes.len();
        let mut adjacent: Vec<Vec<u32>> = vec![Vec::new(); nodes];
        for s in &pipework.segments {
            for (from, to) in [(s.near, s.far), (s.far, s.near)] {
                adjacent.get_mut(from as usize).into_iter().for_each(|a| a.push(to));
            }
        }
        let mut owner: Vec<Option<usize>> = vec![None; nodes];
        for (i, inlet) in pipework.inlets.iter().enumerate() {
            let mut stack: Vec<u32> = inlet.node.into_iter().collect();
            while let Some(at) = stack.pop() {
                if let Some(free @ None) = owner.get_mut(at as usize) {
                    *free = Some(i);
                    stack.extend(adjacent.get(at as usize).into_iter().flatten());
                }
            }
        }
        let owner_of = |node: u32| owner.get(node as usize).copied().flatten();
        let mut pipes: Vec<Self> = pipework
            .inlets
            .iter()
            .enumerate()
            .filter(|(_, inlet)| inlet.node.is_some())
            .map(|(i, inlet)| {
                let length_m =
                    pipework.segments.iter().filter(|s| owner_of(s.near) == Some(i)).map(|s| s.length_m).sum();
                let mut openings: Vec<OpeningFacts> = pipework
                    .openings
                    .iter()
                    .filter(|o| owner_of(o.node) == Some(i))
                    .map(|o| OpeningFacts {
                        number: o.number,
                        kind: match o.kind {
                            OpeningKind::Hole => "hole",
                            OpeningKind::EndCap => "end cap",
                            OpeningKind::OpenEnd => "open end",
                        },
                        diameter_mm: o.diameter_m * 1e3,
                        reachable: o.reachable,
                        whereabouts: o.whereabouts.words().trim_start_matches(", ").to_owned(),
                    })
                    .collect();
                openings.sort_by_key(|o| o.number);
                Self { inlet: inlet.number, length_m, openings }
            })
            .collect();
        pipes.sort_by_key(|p| p.inlet);
        pipes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_base::pipework::*;

    #[test]
    fn each_pipe_gets_its_own_length_and_openings() {
        let segment = |near, far, length_m| Segment {
            near,
            far,
            kind: SegmentKind::Pipe,
            length_m,
            bore_m: 0.021,
            roughness_m: 0.0,
            minor_k: 0.0,
            air_temperature_c: None,
            known: 0,
        };
        let opening = |node, number, kind, diameter_m| Opening {
            node,
            number,
            kind,
            diameter_m,
            discharge: 0.65,
            blocked: false,
            outside_pa: 0.0,
            reachable: number != 2,
            known: 0,
            whereabouts: Default::default(),
        };
        let inlet = |number, node| Inlet { number, node, loss: Loss::default(), bore_m: 0.021, volume_m3: 0.0 };
        let pipework = Pipework {
            name: String::new(),
            nodes: vec![Node::default(); 5],
            // One segment leads to a node that does not exist: ignored, not a panic.
            segments: vec![segment(0, 1, 4.0), segment(2, 1, 3.5), segment(3, 4, 9.0), segment(4, 77, 1.0)],
            openings: vec![
                opening(2, 2, OpeningKind::EndCap, 0.005),
                opening(1, 1, OpeningKind::Hole, 0.003),
                opening(4, 1, OpeningKind::OpenEnd, 0.02),
                opening(99, 1, OpeningKind::Hole, 0.003),
            ],
            inlets: vec![inlet(2, Some(3)), inlet(1, Some(0)), inlet(3, None)],
            unit: AirPath {
                loss: Loss::default(),
                volume_m3: 0.0,
                sensor_lag_s: 0.0,
                drive: Drive::InletSuction(vec![]),
                exhaust_loss: Loss::default(),
                exhaust_pa: 0.0,
                exhaust_elevation_m: 0.0,
            },
            air: Air { temperature_c: 20.0, pressure_pa: 101_325.0, relative_humidity: 0.5, given: None },
            known: vec![Known::default()],
            walk: Vec::new(),
        };
        let pipes = PipeFacts::of(&pipework);
        assert_eq!(pipes.iter().map(|p| p.inlet).collect::<Vec<_>>(), [1, 2], "a plugged inlet is no pipe");
        assert_eq!((pipes[0].length_m, pipes[1].length_m), (7.5, 10.0));
        let first: Vec<_> = pipes[0].openings.iter().map(|o| (o.number, o.kind, o.reachable)).collect();
        assert_eq!(first, [(1, "hole", true), (2, "end cap", false)]);
        assert!((pipes[0].openings[1].diameter_mm - 5.0).abs() < 1e-12);
        assert_eq!(pipes[1].openings.len(), 1);
    }
}
