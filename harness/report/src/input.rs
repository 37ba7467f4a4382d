//! What a report is made from. The caller has it all at the end of a job or of a replay.
use crate::record::Record;
use plumeline_base::{
    obscuration::ObscurationUnit,
    pipework::{OpeningKind, Pipework},
};
use plumeline_procedure::{outcome::Outcome, plan::Plan};
use serde::Serialize;

/// Everything that a report shows.
#[derive(Clone, Copy, Debug)]
pub struct ReportInput<'a> {
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
    /// The site is invented (a demonstration or a test): said loudly.
    pub invented: bool,
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
}

impl PipeFacts {
    /// The pipes of a pipework that carry openings, by inlet number. Length goes to the inlet whose openings a
    /// segment's tree holds; in a ring, to the first inlet that reaches it.
    pub fn of(pipework: &Pipework) -> Vec<Self> {
        let mut owner: Vec<Option<usize>> = vec![None; pipework.nodes.len()];
        for (i, inlet) in pipework.inlets.iter().enumerate() {
            let mut stack: Vec<u32> = inlet.node.into_iter().collect();
            while let Some(at) = stack.pop() {
                match owner.get_mut(at as usize) {
                    Some(free @ None) => *free = Some(i),
                    _ => continue,
                }
                for s in &pipework.segments {
                    if s.near == at {
                        stack.push(s.far);
                    } else if s.far == at {
                        stack.push(s.near);
                    }
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
