//! What a job comes to: stages, findings, verdicts. Written to the result file and read by reports.
use crate::{
    facts::{Code, Fact, Known},
    plan::{BatteryRule, Limit},
};
use alloc::{borrow::Cow, collections::BTreeMap, string::String, vec::Vec};
use core::fmt;
use plumeline_base::{
    Instant, Verdict,
    input::{Photo, TickState},
};
use plumeline_detector::{Identity, Trouble, driver::Means, vocabulary::FlowBasis};
use serde::{Deserialize, Serialize};

pub use crate::stage::StageKind;

/// What a finding is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// The job as a whole.
    Job,
    /// The zone at the panel.
    Zone,
    /// The outgoing unit.
    Outgoing,
    /// The replacement unit.
    Replacement,
    /// The link to the unit.
    Link,
    /// A pipe, by its inlet number.
    Pipe(u8),
    /// A hole, by its pipe's inlet and its number along the pipe.
    Hole(u8, u32),
    /// A setting, by key.
    Setting(String),
    /// An output, by number.
    Output(u8),
    /// An alarm level, by number; the lowest is 1.
    Level(u8),
    /// A line of the checklist, by position from 1.
    Check(u32),
    /// An instrument, by name.
    Instrument(String),
}
/// What an instrument's name is written behind.
const INSTRUMENT: &str = "instrument ";

impl Subject {
    /// Reads a subject as it is displayed: `pipe 1 hole 4`, `setting fan.speed`.
    pub fn parse(text: &str) -> Option<Self> {
        let number = |s: &str| s.parse().ok();
        Some(match text {
            "job" => Self::Job,
            "zone" => Self::Zone,
            "outgoing unit" => Self::Outgoing,
            "replacement unit" => Self::Replacement,
            "link" => Self::Link,
            _ if text.starts_with(INSTRUMENT) => Self::Instrument(text[INSTRUMENT.len()..].into()),
            _ => match text.rsplit_once(' ')? {
                ("pipe", n) => Self::Pipe(n.parse().ok()?),
                ("output", n) => Self::Output(n.parse().ok()?),
                ("alarm level", n) => Self::Level(n.parse().ok()?),
                ("checklist item", n) => Self::Check(number(n)?),
                ("setting", key) if !key.is_empty() => Self::Setting(key.into()),
                (of, n) => {
                    let pipe = of.strip_prefix("pipe ")?.strip_suffix(" hole")?;
                    Self::Hole(pipe.parse().ok()?, number(n)?)
                }
            },
        })
    }
}
impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Job => f.write_str("job"),
            Self::Zone => f.write_str("zone"),
            Self::Outgoing => f.write_str("outgoing unit"),
            Self::Replacement => f.write_str("replacement unit"),
            Self::Link => f.write_str("link"),
            Self::Pipe(n) => write!(f, "pipe {n}"),
            Self::Hole(p, n) => write!(f, "pipe {p} hole {n}"),
            Self::Setting(k) => write!(f, "setting {k}"),
            Self::Output(n) => write!(f, "output {n}"),
            Self::Level(n) => write!(f, "alarm level {n}"),
            Self::Check(n) => write!(f, "checklist item {n}"),
            Self::Instrument(name) => write!(f, "{INSTRUMENT}{name}"),
        }
    }
}

/// A number with its unit and, where it has one, its expanded uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Figure {
    /// Value in `unit`.
    pub value: f64,
    /// Expanded uncertainty at the job's coverage, same unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded: Option<f64>,
    /// Unit, for example `L/min`, `s`, `Pa`, `%`.
    pub unit: String,
    /// The instrument that a person read it off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}
impl Figure {
    /// A figure without uncertainty.
    pub fn plain(value: f64, unit: &str) -> Self {
        Self { value, expanded: None, unit: unit.into(), by: None }
    }
    /// A figure with its expanded uncertainty.
    pub fn with(value: f64, expanded: f64, unit: &str) -> Self {
        Self { value, expanded: Some(expanded), unit: unit.into(), by: None }
    }
}
impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // As many decimals as the uncertainty (or the size of the value) deserves.
        let scale = self.expanded.unwrap_or(self.value.abs() / 100.0).abs();
        let decimals = if scale >= 10.0 {
            0
        } else if scale >= 1.0 {
            1
        } else if scale >= 0.1 {
            2
        } else {
            3
        };
        write!(f, "{:.decimals$}", self.value)?;
        if let Some(u) = self.expanded {
            write!(f, " ± {u:.decimals$}")?;
        }
        write!(f, " {}", self.unit)?;
        self.by.as_ref().map_or(Ok(()), |by| write!(f, " (read off {by})"))
    }
}

/// The numbers of a decision by the stated rule.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct DecisionFacts {
    /// Probability that the true value conforms, given the measurement.
    pub conformity: f64,
    /// Lowest value allowed, if any, in the unit of the measured figure.
    pub low: Option<f64>,
    /// Highest value allowed, if any, in the unit of the measured figure.
    pub high: Option<f64>,
    /// Width of the guard band, same unit.
    pub guard: f64,
    /// Specific consumer's risk if passed: 1 - conformity.
    pub consumers_risk: f64,
    /// Specific producer's risk if failed: conformity.
    pub producers_risk: f64,
    /// The rule in plain words.
    pub rule: String,
}

/// One thing that was found out, or that could not be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Finding {
    /// The stage it was found in.
    pub stage: StageKind,
    /// What it is about.
    pub subject: Subject,
    /// What it comes to.
    pub verdict: Verdict,
    /// The stable name of what was found: what programs go by.
    #[serde(default)]
    pub code: Code,
    /// The values that fill its sentences, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub told: BTreeMap<Cow<'static, str>, String>,
    /// One plain sentence: what was found.
    pub says: String,
    /// What was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<Figure>,
    /// What was expected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Figure>,
    /// The limit it was held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<Limit>,
    /// How it was decided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<DecisionFacts>,
    /// What it most likely means.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub likely: Option<String>,
    /// What to do next.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// First and last instant of the readings behind it, log time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<(Instant, Instant)>,
    /// Void: what it rested on no longer holds, with the reason. A void finding counts as undecided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub void: Option<String>,
    /// Found and put right: what was done, in the person's own words. It was proven again and no longer counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub put_right: Option<String>,
    /// By which means it was shown; in the result, not in the journal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub means: Option<Means>,
}
impl Finding {
    /// A finding that says what a fact says.
    pub(crate) fn of(stage: StageKind, subject: Subject, fact: Fact) -> Self {
        let Fact { code, verdict, says, likely, next, told } = fact;
        Self {
            stage,
            subject,
            verdict,
            code,
            told,
            says,
            measured: None,
            expected: None,
            limit: None,
            decision: None,
            likely,
            next,
            window: None,
            void: None,
            put_right: None,
            means: None,
        }
    }
    /// Says what this fact says from now on; figures, limit and evidence stay.
    pub(crate) fn state(&mut self, fact: Fact) {
        let Fact { code, verdict, says, likely, next, told } = fact;
        (self.code, self.verdict, self.says, self.likely, self.next, self.told) =
            (code, verdict, says, likely, next, told);
    }
    /// A finding with this code, its sentences filled by these values: as it was read out of a file, or for a sample.
    /// `None` where there is no such code, or a value is missing.
    pub fn coded(stage: StageKind, subject: Subject, code: &str, told: &[(&str, &str)]) -> Option<Self> {
        let told = told.iter().map(|(name, value)| (Cow::Owned((*name).into()), (*value).into())).collect();
        Some(Self::of(stage, subject, Known::find(code)?.with(told)?))
    }
    /// It was not put right and proven again since.
    pub const fn stands(&self) -> bool {
        self.put_right.is_none()
    }
    /// The verdict that counts: a void finding shows nothing, and one that was put right stands in no way of a pass (nor
    /// for one: what is proven must stand).
    pub fn counts_as(&self) -> Verdict {
        if !self.stands() {
            return Verdict::Pass;
        }
        if self.void.is_some() { self.verdict.and(Verdict::Undecided) } else { self.verdict }
    }
}

/// Something that is stated beside the findings and has no verdict: what could have been missed, what a band sees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Statement {
    /// The stable name of what is stated: what programs go by.
    pub code: Code,
    /// What it is about.
    pub subject: Subject,
    /// The values that fill its sentence, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub told: BTreeMap<Cow<'static, str>, String>,
    /// One plain sentence.
    pub says: String,
}
impl Statement {
    /// What a fact says, without its verdict.
    pub(crate) fn of(subject: Subject, fact: Fact) -> Self {
        let Fact { code, says, told, .. } = fact;
        Self { code, subject, told, says }
    }
    /// A statement of one sentence.
    pub fn new(subject: Subject, says: impl Into<String>) -> Self {
        Self { code: Code::default(), subject, told: BTreeMap::new(), says: says.into() }
    }
}

/// How a stage ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StageResult {
    /// Which.
    pub stage: StageKind,
    /// What it comes to.
    pub verdict: Verdict,
    /// It was run to its end.
    pub complete: bool,
    /// When it began, log time.
    pub began: Instant,
    /// When it ended, log time.
    pub ended: Instant,
    /// Why it ended early, if it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
    /// It was done again, for this reason: what it came to no longer counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub put_right: Option<String>,
}

/// A smoke run, for charts and tables.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SmokeRun {
    /// Inlet of the pipe.
    pub inlet: u8,
    /// Hole number along the pipe.
    pub hole: u32,
    /// Run number at this hole, from 1.
    pub run: u8,
    /// The mark of the release, log time.
    pub released: Instant,
    /// From the release to a tenth of the plateau, s, with its expanded uncertainty.
    pub onset: Option<Figure>,
    /// From the release to half of the plateau, s.
    pub half_plateau: Option<Figure>,
    /// From the release to the first alarm level the unit reported, delays included, s.
    pub alarm_after_s: Option<f64>,
    /// End of what was recorded, log time.
    pub until: Instant,
    /// Why there is no time, where there is none.
    pub why_not: Option<String>,
    /// The logger off whose file it was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// From the release to a tenth of the plateau as a person marked it, s, where it was read off a file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_hand: Option<Figure>,
    /// What the file shows of it: time after the release, s, and extinction, 1/m.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub curve: Vec<(f64, f64)>,
    /// Set aside before its result was known, for this reason: it does not count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_aside: Option<String>,
}

impl Outcome {
    /// By how much closing each hole lowered the flow, by inlet and hole: what was put right or is void does not count.
    pub fn drops(&self) -> Vec<((u8, u32), &Figure)> {
        let mut all: Vec<((u8, u32), &Figure)> = Vec::new();
        for finding in &self.findings {
            let (Subject::Hole(inlet, number), StageKind::ProveFlow) = (&finding.subject, finding.stage) else {
                continue;
            };
            // Suctions are told of holes, too.
            let flows = [FlowBasis::Actual, FlowBasis::Share].map(|basis| basis.unit().0);
            let Some(measured) = finding.measured.as_ref().filter(|m| flows.contains(&m.unit.as_str())) else {
                continue;
            };
            if !finding.stands() || finding.void.is_some() {
                continue;
            }
            let at = (*inlet, *number);
            all.retain(|(other, _)| *other != at);
            all.push((at, measured));
        }
        all.sort_by_key(|(at, _)| *at);
        all
    }
}

/// What the flow of one pipe was predicted to be and was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PipeFlow {
    /// Inlet number.
    pub inlet: u8,
    /// Predicted, L/min.
    pub predicted: Figure,
    /// Measured before the baseline, L/min.
    pub measured: Option<Figure>,
    /// As found with the outgoing unit, L/min.
    pub as_found: Option<Figure>,
    /// The unit's own baseline, L/min.
    pub baseline: Option<f64>,
    /// Predicted mean transport time of its farthest hole, s.
    pub predicted_transport: Option<Figure>,
    /// Smallest change of this pipe's flow that the flow reading alone would have shown, as a fraction.
    pub smallest_visible: Option<f64>,
}

/// An item of the checklist as it was answered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Ticked {
    /// Position in the checklist, from 1.
    pub item: u32,
    /// The stage at which it was asked for.
    pub stage: StageKind,
    /// What was to be done.
    pub text: String,
    /// The job can't pass without it.
    pub required: bool,
    /// What it comes to.
    pub state: TickState,
    /// Who says so; `None` where that was not told.
    pub by: Option<String>,
    /// When, log time.
    pub at: Instant,
    /// When, UTC (RFC 3339), where the log knows the date.
    pub date: Option<String>,
    /// A remark, or the reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// A photo of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<Photo>,
}

/// What the supply was found to be.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SupplyFacts {
    /// Current of the outgoing unit as found, A.
    pub outgoing: Option<Figure>,
    /// Current of the replacement at standby, A.
    pub standby: Option<Figure>,
    /// Current with every output in use operated, A.
    pub alarm: Option<Figure>,
    /// Voltage under that load on the mains, V.
    pub mains: Option<Figure>,
    /// Voltage under that load on the battery, V.
    pub battery: Option<Figure>,
    /// Capacity that the battery must have, A h.
    pub needed: Option<Figure>,
    /// Capacity of the battery fitted, A h.
    pub fitted_ah: Option<f64>,
    /// How the capacity is calculated.
    pub rule: Option<BatteryRule>,
}

/// Where what was seen comes from: a site, or a simulation of one; a person, or a script.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Origin {
    /// A link led to the bundled simulator.
    pub simulated_link: bool,
    /// A unit said itself that it is a simulation.
    pub simulated_unit: bool,
    /// Answers that were given while a person decided what follows.
    pub answers_of_people: u32,
    /// Answers that a script gave.
    pub answers_of_scripts: u32,
}
impl Origin {
    /// None of it was of a real site.
    pub const fn is_simulated(&self) -> bool {
        self.simulated_link || self.simulated_unit
    }
    /// What a reader must know before the verdict, a word and what it means; nothing where people answered at a unit that
    /// does not say that it is a simulation, which does not show that it is none.
    pub fn cautions(&self) -> Vec<(&'static str, String)> {
        let signs = [
            (self.simulated_unit, "the unit says so itself"),
            (self.simulated_link, "the link leads to the bundled simulator"),
            (self.answers_of_scripts > 0, "a script answered"),
        ];
        let how: Vec<&str> = signs.iter().filter(|(shown, _)| *shown).map(|(_, how)| *how).collect();
        if self.is_simulated() {
            let how = how.join("; ");
            let text = "no real unit and no real site were tried, and nothing is proven about any";
            return alloc::vec![("SIMULATED", alloc::format!("{text} ({how})."))];
        }
        let scripted = (self.answers_of_scripts > 0).then(|| {
            let (people, scripts) = (self.answers_of_people, self.answers_of_scripts);
            let text = "what they say was seen by nobody";
            ("SCRIPTED", alloc::format!("{scripts} answers came from a script and {people} from people; {text}."))
        });
        scripted.into_iter().collect()
    }
}

/// The whole result of a job.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// The verdict over everything.
    pub verdict: Verdict,
    /// Why, in one sentence: what it hangs on.
    pub because: String,
    /// The outgoing unit, if it could be identified.
    pub outgoing: Option<Identity>,
    /// The replacement unit, if it could be identified.
    pub replacement: Option<Identity>,
    /// Stages that were begun.
    pub stages: Vec<StageResult>,
    /// Stages that were not done, by name, with the reason.
    pub not_done: Vec<(StageKind, String)>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// Flow of each pipe.
    pub pipes: Vec<PipeFlow>,
    /// Smoke runs.
    pub smoke: Vec<SmokeRun>,
    /// The smallest defects that this job could have missed.
    pub could_have_missed: Vec<Statement>,
    /// For each pipe, the smallest defect that the unit's own band sees, and the largest that it does not.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub band_sees: Vec<Statement>,
    /// Time out of service, s, if it began.
    pub out_of_service_s: Option<f64>,
    /// What is still isolated, locked off or inhibited at the end: not empty means that the job closed incomplete.
    #[serde(default)]
    pub still: Vec<String>,
    /// The checklist as it was answered, in the order of the answers.
    #[serde(default)]
    pub checklist: Vec<Ticked>,
    /// The supply, as far as it was looked at.
    #[serde(default)]
    pub supply: SupplyFacts,
    /// The trouble with link or device that ended the job early, if one did.
    pub trouble: Option<Trouble>,
    /// True if the job was aborted.
    pub aborted: bool,
    /// Where what was seen comes from.
    #[serde(default)]
    pub origin: Origin,
}
#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn a_subject_reads_back_as_it_is_displayed() {
        let fixed = [Subject::Job, Subject::Zone, Subject::Outgoing, Subject::Replacement, Subject::Link];
        let numbered = [
            Subject::Pipe(2),
            Subject::Hole(1, 40),
            Subject::Output(3),
            Subject::Level(2),
            Subject::Check(7),
            Subject::Instrument("Gauge 2".into()),
        ];
        for s in fixed.into_iter().chain(numbered).chain([Subject::Setting("a.key".into())]) {
            assert_eq!(Subject::parse(&s.to_string()), Some(s));
        }
        for wrong in ["", "pipe", "pipe x", "pipe 300", "hole 4", "pipe 1 hole", "pipe 1 hole x", "setting ", "unit"] {
            assert_eq!(Subject::parse(wrong), None, "{wrong}");
        }
    }
}
