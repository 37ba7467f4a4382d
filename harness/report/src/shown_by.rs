//! By which means the items of a job were shown: told by the unit, read by a person, or said with nothing read.
//!
//! Not here: which means it is (the procedure).
use crate::{
    standing::judges,
    words::{self, clean},
};
use plumeline_base::Verdict;
use plumeline_detector::driver::Means;
use plumeline_procedure::outcome::{Finding, Outcome, Subject};
use serde::Serialize;

/// How a line of the checklist begins among the attested items.
const CHECK: &str = "Checklist: ";

/// How many items were shown by which means, and which rest on a person's word alone.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct ShownBy {
    /// Items that the verdict rests on.
    pub items: usize,
    /// Told by the unit.
    pub measured: usize,
    /// Read by a person, off the unit, an instrument or the panel.
    pub read: usize,
    /// Said by a person with nothing read.
    pub attested: usize,
    /// Not shown by any means.
    pub not_shown: usize,
    /// Those that are attested.
    pub attested_items: Vec<String>,
    /// How many of these are lines of the checklist.
    #[serde(skip)]
    ticked: usize,
}

/// The means behind what an outcome rests on; `None` where a record of before tells none.
pub fn shown_by(outcome: &Outcome) -> Option<ShownBy> {
    let judged: Vec<&Finding> = outcome.findings.iter().filter(|f| judges(f.stage) && f.stands()).collect();
    if judged.is_empty() || judged.iter().any(|f| f.means.is_none()) {
        return None;
    }
    let mut by = ShownBy { items: judged.len(), ..ShownBy::default() };
    for f in judged {
        match f.means {
            // What no means showed is no item that a means has shown.
            _ if f.counts_as() == Verdict::Undecided => by.not_shown += 1,
            Some(Means::Protocol) => by.measured += 1,
            Some(Means::Person) => by.read += 1,
            Some(Means::Attested) | None => {
                by.attested += 1;
                by.ticked += usize::from(matches!(f.subject, Subject::Check(_)));
                let about = match f.subject {
                    Subject::Check(_) => format!("{CHECK}{}", f.says),
                    _ => format!("{}: {}", words::subject(&f.subject), f.says),
                };
                by.attested_items.push(clean(&about));
            }
        }
    }
    Some(by)
}

impl ShownBy {
    /// The attested items, the lines of the checklist as one.
    pub fn attested_lines(&self) -> Vec<String> {
        let ticked = (self.ticked > 0).then(|| format!("{} lines of the checklist", self.ticked));
        let others = self.attested_items.iter().filter(|item| !item.starts_with(CHECK)).cloned();
        others.chain(ticked).collect()
    }
    /// In one sentence.
    pub fn words(&self) -> String {
        let not = if self.not_shown > 0 { format!(", {} not shown", self.not_shown) } else { String::new() };
        format!(
            "Of {} items {} measured, {} read by a person, {} attested{not}.",
            self.items, self.measured, self.read, self.attested
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::outcome::StageKind;

    fn found(code: &str, means: Option<Means>) -> Finding {
        let mut f = Finding::coded(StageKind::Restore, Subject::Zone, code, &[]).unwrap();
        f.means = means;
        f
    }

    #[test]
    fn what_is_undecided_is_shown_by_no_means() {
        let all = [
            ("restore.zone-restored", Some(Means::Attested)),
            ("restore.no-fault", Some(Means::Person)),
            ("restore.given-back", Some(Means::Protocol)),
            ("restore.still-locked-off", Some(Means::Protocol)),
        ];
        let findings: Vec<Finding> = all.map(|(code, means)| found(code, means)).into();
        let by = shown_by(&Outcome { findings, ..Outcome::default() }).unwrap();
        assert_eq!(by.words(), "Of 4 items 1 measured, 1 read by a person, 1 attested, 1 not shown.");
        assert_eq!(by.attested_items, ["Zone: the zone is restored at the panel"]);
        let old = vec![found("restore.no-fault", None)];
        assert_eq!(shown_by(&Outcome { findings: old, ..Outcome::default() }), None);
        assert_eq!(shown_by(&Outcome::default()), None, "nothing shown is nothing counted");
    }
}
