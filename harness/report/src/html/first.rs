//! The first screen: what the job comes to, what it hangs on, which pipe, what to do next.
use super::{
    doc::{Cell, Table},
    measured::said,
};
use crate::{
    input::ReportInput,
    shown_by,
    standing::{self, Group, Loud, Standing},
    words,
};
use plumeline_base::Verdict;
use plumeline_job::{code, digest::Digest};
use plumeline_procedure::outcome::{Figure, Finding, Outcome, StageKind};

/// Findings shown of each group before the reader is sent to the full list.
const SHOWN: usize = 3;

/// What the verdict hangs on, in a sentence.
pub(crate) fn because(input: &ReportInput<'_>, shown: Verdict) -> String {
    let o = input.outcome;
    if shown == o.verdict && !o.because.trim().is_empty() {
        return words::capital(&words::clean(&o.because));
    }
    let worst = o.findings.iter().find(|f| standing::judges(f.stage) && f.counts_as() == shown);
    worst.map_or_else(
        || "the record does not say why".to_owned(),
        |f| words::clean(&format!("{}: {}", words::subject(&f.subject), f.void.as_deref().unwrap_or(&f.says))),
    )
}

/// The worst finding in four lines, so that even the smallest screen shows it at once; then by which means all was shown.
pub(crate) fn lead(input: &ReportInput<'_>, shown: Verdict) -> Vec<(&'static str, String)> {
    let by = shown_by(input.outcome);
    let attested = by.as_ref().filter(|by| by.attested > 0).map(|by| by.attested_lines().join("; "));
    let by = [("Shown by", by.map(|by| by.words())), ("Attested", attested)];
    let code = Digest::parse(&input.digests.journal_head).map(|head| code::of(&head));
    let code = code.map(|code| format!("{code} (write it into the site's own log book: it binds this record)"));
    let by = by.into_iter().chain([("Code of this record", code)]).filter_map(|(what, s)| Some((what, s?)));
    worst(input, shown).into_iter().chain(by).collect()
}

fn worst(input: &ReportInput<'_>, shown: Verdict) -> Vec<(&'static str, String)> {
    if shown.is_pass() {
        return Vec::new();
    }
    let all = standing::standings(input.outcome, input.pipes.iter().map(|p| p.inlet));
    let worst = all.iter().find_map(|s| s.findings.first().filter(|f| f.counts_as() == shown));
    let Some(f) = worst else { return Vec::new() };
    let figure = |f: Option<&Figure>| f.map(words::figure);
    [
        ("Measured", figure(f.measured.as_ref())),
        ("Expected", figure(f.expected.as_ref())),
        ("Most likely", f.likely.as_deref().map(words::clean)),
        ("Do next", f.next.as_deref().map(words::clean)),
    ]
    .into_iter()
    .filter_map(|(what, s)| Some((what, s?)))
    .collect()
}

/// The outcome's loud lines and those that only the whole input can give.
pub(crate) fn loud_lines(input: &ReportInput<'_>) -> Vec<Loud> {
    let mut all = standing::loud(input.outcome);
    for o in input.record.overrides.iter().rev() {
        let stage = o.stage.map_or_else(String::new, |s| format!(" at \"{}\"", s.title().to_lowercase()));
        let text = format!(
            "Somebody chose to go on{stage} although something was unproven. Name and reason given: \"{}\".",
            o.answer
        );
        all.insert(0, Loud::new("OVERRIDE", text));
    }
    let limit = &input.plan.limits.out_of_service;
    if let Some(s) = input.outcome.out_of_service_s.filter(|s| *s > limit.value) {
        let text = format!(
            "Out of service for {}; the limit is {} ({}).",
            words::duration(s),
            words::limit(limit),
            limit.source
        );
        all.push(Loud::new("LONG OUT OF SERVICE", text));
    }
    if input.plan.invented {
        all.push(Loud::new(
            "INVENTED SITE",
            "This is a demonstration or a test on a simulated site. It proves nothing about any real one.",
        ));
    }
    all
}

/// Per pipe, and for whatever else did not pass: what was measured, what expected, what it means, what to do next.
pub(crate) fn table(input: &ReportInput<'_>) -> Table {
    let mut table = Table::new(
        "What was found, the worst first",
        &["What", "Verdict", "Measured", "Expected", "What it most likely means", "What to do next"],
    );
    for s in standing::standings(input.outcome, input.pipes.iter().map(|p| p.inlet)) {
        match (s.group, s.verdict) {
            (Group::Pipe(inlet), Verdict::Pass) => table.rows.push(good_pipe(input, inlet)),
            (_, Verdict::Pass) => {}
            _ => bad(&mut table, input, &s),
        }
    }
    table
}

fn bad(table: &mut Table, input: &ReportInput<'_>, s: &Standing<'_>) {
    let missing: Vec<&str> = s.missing.iter().map(|m| m.title()).collect();
    let missing = missing.join(", ").to_lowercase();
    let open: Vec<&Finding> = s.findings.iter().copied().filter(|f| !f.counts_as().is_pass()).collect();
    for (k, f) in open.iter().take(SHOWN).enumerate() {
        let also = if k == 0 && !missing.is_empty() { format!("; not done for it: {missing}") } else { String::new() };
        table.rows.push(finding_row(f, &also));
    }
    if open.is_empty() {
        table.rows.push(vec![
            Cell::text(s.group.words()).below(format!("not done for it: {missing}")),
            Cell::verdict(s.verdict),
            Cell::text(measured(input, &s.group)),
            Cell::text(""),
            Cell::text("the job did not come to this, or left it out"),
            Cell::text("do the job to its end"),
        ]);
    }
    if open.len() > SHOWN {
        let more = open.len() - SHOWN;
        let mut row = vec![
            Cell::text(s.group.words()).below(format!("and {more} more, see below")),
            Cell::verdict(open.get(SHOWN).map_or(Verdict::Undecided, |f| f.counts_as())),
        ];
        row.resize_with(6, || Cell::text(""));
        table.rows.push(row);
    }
}

fn finding_row(f: &Finding, also: &str) -> Vec<Cell> {
    let says = said(f);
    let limit = f.limit.as_ref().map_or_else(String::new, |l| format!("limit {}", words::limit(l)));
    vec![
        Cell::text(words::subject(&f.subject)).below(format!("{says}{also}")),
        Cell::verdict(f.counts_as()).below(f.stage.title()),
        Cell::text(words::figure_or_dash(f.measured.as_ref())),
        Cell::text(words::figure_or_dash(f.expected.as_ref())).below(limit),
        Cell::text(f.likely.as_deref().unwrap_or_default()),
        Cell::text(f.next.as_deref().unwrap_or(if f.void.is_some() {
            "prove this again"
        } else {
            "see what was found"
        })),
    ]
}

/// A pipe that passed, in one row: its flow and its slowest smoke run.
/// What was measured of it although not everything was done: a pipe's flow.
fn measured(input: &ReportInput<'_>, group: &Group) -> String {
    let Group::Pipe(inlet) = group else { return "not measured".into() };
    let flow = input.outcome.pipes.iter().find(|p| p.inlet == *inlet).and_then(|p| p.measured.as_ref());
    flow.map_or_else(|| "not measured".into(), |m| format!("flow {}", words::figure(m)))
}

fn good_pipe(input: &ReportInput<'_>, inlet: u8) -> Vec<Cell> {
    let flow = input.outcome.pipes.iter().find(|p| p.inlet == inlet);
    let runs = input.outcome.smoke.iter().filter(|r| r.inlet == inlet).filter_map(|r| r.onset.as_ref());
    let slowest = runs.max_by(|a, b| a.value.total_cmp(&b.value));
    let limit = &input.plan.limits.transport;
    let expected = flow.map(|p| format!("flow {}", words::figure(&p.predicted)));
    vec![
        Cell::text(format!("Pipe {inlet}")).below("flow and smoke as they should be"),
        Cell::verdict(Verdict::Pass),
        Cell::text(
            flow.and_then(|p| p.measured.as_ref()).map_or_else(String::new, |m| format!("flow {}", words::figure(m))),
        )
        .below(slowest.map_or_else(String::new, |t| format!("smoke after {} (slowest run)", words::figure(t)))),
        Cell::text(expected.unwrap_or_default()).below(format!("smoke within {}", words::limit(limit))),
        Cell::text(""),
        Cell::text("nothing"),
    ]
}

/// The smallest defects that could have been missed; never empty.
pub(crate) fn could_have_missed(outcome: &Outcome) -> Vec<String> {
    if !outcome.could_have_missed.is_empty() {
        return outcome.could_have_missed.iter().map(|s| words::clean(&s.says)).collect();
    }
    let proven = outcome.stages.iter().any(|s| s.stage == StageKind::ProveFlow && s.complete);
    let why = if proven { "the job does not state it" } else { "the flow was never proven to the end" };
    vec![format!("Any defect at all: {why}.")]
}
