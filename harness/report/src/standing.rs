//! What a job's outcome says first: the verdict that may be shown, loud lines, findings by what they are about.
//!
//! Shared by page, text and JUnit, so that none of them says less than another.
use crate::words;
use plumeline_base::Verdict;
use plumeline_procedure::outcome::{Finding, Outcome, StageKind, Subject};

/// The verdict that may be shown: the outcome's own, made worse where the rest of the outcome does not carry it.
///
/// What was found on the outgoing unit is for comparison only and judges nothing.
pub fn shown_verdict(outcome: &Outcome) -> Verdict {
    let stages = outcome
        .stages
        .iter()
        .filter(|s| judges(s.stage) && s.put_right.is_none())
        .map(|s| if s.complete { s.verdict } else { s.verdict.and(Verdict::Undecided) });
    let findings = outcome.findings.iter().filter(|f| judges(f.stage) && f.stands()).map(Finding::counts_as);
    let not_done = outcome.not_done.iter().filter(|(stage, _)| stage.is_needed()).map(|_| Verdict::Undecided);
    let early =
        (outcome.aborted || outcome.trouble.is_some() || !outcome.still.is_empty()).then_some(Verdict::Undecided);
    Verdict::over(stages.chain(findings).chain(not_done).chain(early)).and(outcome.verdict)
}

/// A pass hangs on this stage.
pub(crate) fn judges(stage: StageKind) -> bool {
    stage.judges()
}

/// What was found, put right and proven again, each with what was done. It no longer counts, and stays in every record.
pub fn put_right(outcome: &Outcome) -> impl Iterator<Item = (&Finding, &str)> {
    let not_passed = outcome.findings.iter().filter(|f| f.verdict != Verdict::Pass);
    not_passed.filter_map(|f| Some((f, f.put_right.as_deref()?)))
}

/// A line that nobody may overlook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loud {
    /// What it is, in capitals.
    pub word: &'static str,
    /// What it means here.
    pub text: String,
}
impl Loud {
    pub(crate) fn new(word: &'static str, text: impl AsRef<str>) -> Self {
        Self { word, text: words::clean(text.as_ref()) }
    }
}

/// What is not back as it was, if the zone was ever taken out of service: something is left isolated, locked off or
/// inhibited, or is not shown to be back.
pub fn left_open(outcome: &Outcome) -> Option<Loud> {
    still_isolated(outcome).map(|(word, text)| Loud::new(word, text))
}

/// Whether what was seen is of a real site, and who answered.
pub fn cautions(outcome: &Outcome) -> Vec<Loud> {
    outcome.origin.cautions().into_iter().map(|(word, text)| Loud::new(word, text)).collect()
}

/// The loud lines of an outcome, the most pressing first.
pub fn loud(outcome: &Outcome) -> Vec<Loud> {
    let incomplete = (!outcome.still.is_empty())
        .then(|| Loud::new("CLOSED INCOMPLETE", format!("At the end of this record {}.", outcome.still.join("; "))));
    let mut all: Vec<Loud> = cautions(outcome).into_iter().chain(incomplete).chain(left_open(outcome)).collect();
    if outcome.aborted {
        all.push(Loud::new(
            "ABORTED",
            "The job was told to stop before its end. What was not shown before that is not shown.",
        ));
    }
    if let Some(trouble) = &outcome.trouble {
        all.push(Loud::new("TROUBLE", format!("The job ended early because {trouble}. Remedy: {}.", trouble.remedy())));
    }
    if shown_verdict(outcome) != outcome.verdict {
        let own = outcome.verdict;
        all.push(Loud::new(
            "CONTRADICTION",
            format!("The record states {own}, but what is in it does not carry that. The worse is shown; keep the record and report this."),
        ));
    }
    let voids = |baseline: bool| {
        outcome
            .findings
            .iter()
            .filter(move |f| (f.stage == StageKind::Baseline) == baseline && f.stands())
            .filter_map(|f| Some((f.stage, f.void.as_deref()?)))
    };
    if let Some((_, why)) = voids(true).next() {
        all.push(Loud::new(
            "BASELINE VOID",
            format!("The airflow baseline no longer counts: {why}. Prove the flow and take it again."),
        ));
    }
    let mut void: Vec<(StageKind, &str)> = Vec::new();
    for v in voids(false) {
        if !void.contains(&v) {
            void.push(v);
        }
    }
    if !void.is_empty() {
        let text: Vec<String> = by_reason(void.iter().map(|(s, why)| (*s, *why)));
        all.push(Loud::new("VOID", format!("No longer counts: {}.", text.join("; "))));
    }
    let mut right: Vec<String> = Vec::new();
    for (f, _) in put_right(outcome).filter(|(f, _)| judges(f.stage)) {
        let words = format!("{} at {} ({})", f.subject, f.stage, f.verdict);
        if !right.contains(&words) {
            right.push(words);
        }
    }
    if !right.is_empty() {
        let text = format!("Did not pass at first, was put right and done again: {}.", right.join(", "));
        all.push(Loud::new("NOT AT THE FIRST ATTEMPT", text));
    }
    let not_done: Vec<(StageKind, &str)> =
        outcome.not_done.iter().filter(|(s, _)| s.is_needed()).map(|(s, why)| (*s, why.as_str())).collect();
    if !not_done.is_empty() {
        all.push(Loud::new("NOT DONE", format!("{}.", by_reason(not_done.into_iter()).join("; "))));
    }
    let open: Vec<&Finding> =
        outcome.findings.iter().filter(|f| judges(f.stage) && f.counts_as() == Verdict::Undecided).collect();
    if !open.is_empty() {
        let mut about: Vec<String> = Vec::new();
        for f in &open {
            let s = f.subject.to_string();
            if !about.contains(&s) {
                about.push(s);
            }
        }
        let more = about.len().saturating_sub(8);
        about.truncate(8);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        let things = if open.len() == 1 { "1 finding is".to_owned() } else { format!("{} findings are", open.len()) };
        all.push(Loud::new(
            "UNDECIDED",
            format!("{things} undecided, which is not a pass: {}{more}.", about.join(", ")),
        ));
    }
    all
}

/// Why the zone is not known to be back in service, if it was ever taken out.
fn still_isolated(outcome: &Outcome) -> Option<(&'static str, String)> {
    let of = |stage| outcome.findings.iter().filter(move |f| f.stage == stage);
    let out = outcome.out_of_service_s.is_some()
        || of(StageKind::Isolate).any(|f| f.subject == Subject::Zone && f.verdict.is_pass());
    if !out {
        return None;
    }
    let open: Vec<&Finding> = of(StageKind::Restore).filter(|f| !f.counts_as().is_pass()).collect();
    let zone = |f: &&Finding| f.subject == Subject::Zone;
    let restored = outcome.stages.iter().any(|s| s.stage == StageKind::Restore && s.complete)
        && of(StageKind::Restore).any(|f| zone(&f) && f.counts_as().is_pass())
        && !open.iter().any(zone);
    let found: Vec<&str> = open.iter().map(|f| f.says.as_str()).collect();
    match (restored, found.is_empty()) {
        (true, true) => None,
        (true, false) => Some(("NOT BACK WHOLE", format!("The zone is restored, but: {}.", found.join("; ")))),
        (false, none) => {
            let found = if none { String::new() } else { format!(" Found: {}.", found.join("; ")) };
            Some((
                "STILL ISOLATED",
                format!(
                    "The zone was taken out of service and is not shown to be back.{found} Restore it at the panel, unlock the \
                     release circuit, tell those who were told, and have this recorded."
                ),
            ))
        }
    }
}

/// `stage, stage (reason)` for each reason, in order.
fn by_reason<'a>(all: impl Iterator<Item = (StageKind, &'a str)>) -> Vec<String> {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for (stage, why) in all {
        match groups.iter_mut().find(|(w, _)| *w == why) {
            Some((_, stages)) => stages.push(stage.title()),
            None => groups.push((why, vec![stage.title()])),
        }
    }
    groups.into_iter().map(|(why, stages)| format!("{} ({why})", stages.join(", ").to_lowercase())).collect()
}

/// What findings are about, gathered so that a reader looks in one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// A pipe with its holes, by inlet.
    Pipe(u8),
    /// The replacement unit.
    Replacement,
    /// Settings.
    Settings,
    /// Outputs.
    Outputs,
    /// The zone at the panel.
    Zone,
    /// The link to the unit.
    Link,
    /// The checklist.
    Checklist,
    /// What numbers were read off.
    Instruments,
    /// The job as a whole.
    Job,
    /// The outgoing unit.
    Outgoing,
}
impl Group {
    /// Where a subject belongs.
    pub fn of(subject: &Subject) -> Self {
        match subject {
            Subject::Pipe(n) | Subject::Hole(n, _) => Self::Pipe(*n),
            Subject::Replacement => Self::Replacement,
            Subject::Setting(_) => Self::Settings,
            Subject::Output(_) => Self::Outputs,
            Subject::Level(_) => Self::Replacement,
            Subject::Zone => Self::Zone,
            Subject::Link => Self::Link,
            Subject::Check(_) => Self::Checklist,
            Subject::Instrument(_) => Self::Instruments,
            Subject::Job => Self::Job,
            Subject::Outgoing => Self::Outgoing,
        }
    }
    /// In plain words.
    pub fn words(self) -> String {
        match self {
            Self::Pipe(n) => format!("Pipe {n}"),
            Self::Replacement => "New unit".to_owned(),
            Self::Settings => "Settings".to_owned(),
            Self::Outputs => "Outputs".to_owned(),
            Self::Zone => "Zone".to_owned(),
            Self::Link => "Link".to_owned(),
            Self::Checklist => "Checklist".to_owned(),
            Self::Instruments => "Instruments".to_owned(),
            Self::Job => "Job".to_owned(),
            Self::Outgoing => "Outgoing unit".to_owned(),
        }
    }
}

/// A group with its findings.
#[derive(Clone, Debug)]
pub struct Standing<'a> {
    /// What it is about.
    pub group: Group,
    /// The worst of its findings; undecided at best when something is missing.
    pub verdict: Verdict,
    /// Its findings that judge, the worst first, else in their order.
    pub findings: Vec<&'a Finding>,
    /// Stages that a pipe must have findings of and has none of.
    pub missing: Vec<StageKind>,
}

/// The groups of an outcome, the worst first. A pipe without findings of flow and smoke is undecided at best.
pub fn standings<'a>(outcome: &'a Outcome, pipes: impl IntoIterator<Item = u8>) -> Vec<Standing<'a>> {
    let judged = || outcome.findings.iter().filter(|f| judges(f.stage) && f.stands());
    let named: Vec<Group> = pipes.into_iter().chain(outcome.pipes.iter().map(|p| p.inlet)).map(Group::Pipe).collect();
    // An inlet that carries no pipe is the unit's, and has neither flow nor smoke to be shown.
    let of = |f: &Finding| match Group::of(&f.subject) {
        group @ Group::Pipe(_) if !named.is_empty() && !named.contains(&group) => Group::Replacement,
        group => group,
    };
    let mut groups: Vec<Group> = named.iter().copied().chain(judged().map(of)).collect();
    groups.sort_unstable();
    groups.dedup();
    let mut all: Vec<Standing<'a>> = groups
        .into_iter()
        .map(|group| {
            let mut findings: Vec<&Finding> = judged().filter(|f| of(f) == group).collect();
            findings.sort_by_key(|f| (core::cmp::Reverse(f.counts_as()), f.void.is_some()));
            let needed: &[StageKind] = match group {
                Group::Pipe(_) => &[StageKind::ProveFlow, StageKind::ProveSmoke],
                _ => &[],
            };
            let has = |stage: &StageKind| findings.iter().any(|f| f.stage == *stage);
            let missing: Vec<StageKind> = needed.iter().copied().filter(|s| !has(s)).collect();
            let gap = (!missing.is_empty()).then_some(Verdict::Undecided);
            let verdict = Verdict::over(findings.iter().map(|f| f.counts_as()).chain(gap));
            Standing { group, verdict, findings, missing }
        })
        .collect();
    // What the job hangs on was found first among its like; what is void only follows from something else.
    let first = |s: &Standing<'_>| {
        let f = s.findings.first().filter(|f| f.counts_as() == s.verdict);
        let place = |f: &Finding| outcome.findings.iter().position(|g| core::ptr::eq(f, g));
        f.map(|f| (f.void.is_some(), place(f)))
    };
    all.sort_by_key(|s| {
        (
            core::cmp::Reverse(s.verdict),
            !matches!(s.verdict, Verdict::Pass) && first(s).is_none(),
            first(s).filter(|_| s.verdict != Verdict::Pass),
        )
    });
    all
}
