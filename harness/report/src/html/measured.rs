//! What was measured: airflow, holes, smoke, supervision and last look, and the full list of findings.
use super::{
    charts,
    clock::Clock,
    doc::{Block, Cell, Section, Table},
    rules::decided,
};
use crate::{
    input::{PipeFacts, ReportInput},
    words::{self, dash, figure_or_dash},
};
use plumeline_base::Verdict;
use plumeline_procedure::outcome::{Figure, Finding, SmokeRun, StageKind, Subject};

pub(crate) fn sections(input: &ReportInput<'_>, clock: &Clock) -> Vec<Section> {
    vec![
        Section::new("flow", "Airflow", flow(input)),
        Section::new("holes", "Holes, closed in turn", holes(input)),
        Section::new("baseline", "Baseline", baseline(input)),
        Section::new("smoke", "Smoke", smoke(input, clock)),
        Section::new("after", "Supervision and last look", after(input)),
        Section::new("findings", "What else was found", findings(input, clock)),
    ]
}

/// Says what ± means, once for each section that uses it.
fn interval_note(input: &ReportInput<'_>) -> String {
    let coverage = words::percent(input.plan.rule.coverage, 0);
    format!("± is the expanded uncertainty at {coverage} coverage.")
}

fn flow(input: &ReportInput<'_>) -> Vec<Block> {
    let o = input.outcome;
    let mut table = Table::new(
        format!(
            "Flow of each pipe. Smallest material change: {}. {}",
            words::limit(&input.plan.flow.material),
            interval_note(input)
        ),
        &[
            "Pipe",
            "Verdict",
            "Predicted",
            "Measured",
            "Difference",
            "Outgoing unit, as found",
            "Unit's baseline",
            "Smallest change that flow alone shows",
        ],
    );
    for p in &o.pipes {
        let finding =
            o.findings.iter().find(|f| f.stage == StageKind::ProveFlow && f.subject == Subject::Pipe(p.inlet));
        let difference = p.measured.as_ref().map(|m| m.value / p.predicted.value - 1.0).filter(|d| d.is_finite());
        table.rows.push(vec![
            Cell::text(format!("Pipe {}", p.inlet)),
            finding.map_or_else(|| Cell::text("not judged"), judged),
            Cell::number(if p.predicted.value == 0.0 {
                "not predicted".to_owned()
            } else {
                words::figure(&p.predicted)
            }),
            Cell::number(p.measured.as_ref().map_or_else(|| "not measured".to_owned(), words::figure)),
            Cell::number(
                difference.map_or_else(dash, |d| format!("{}{}", if d > 0.0 { "+" } else { "" }, words::percent(d, 1))),
            ),
            Cell::number(p.as_found.as_ref().map_or_else(|| "not captured".to_owned(), words::figure)),
            Cell::number(p.baseline.map_or_else(|| "none".to_owned(), |b| format!("{} L/min", words::number(b, 2)))),
            Cell::number(p.smallest_visible.map_or_else(|| "not stated".to_owned(), |f| words::percent(f, 1))),
        ]);
    }
    let mut blocks = Vec::new();
    if table.rows.is_empty() {
        blocks.push(Block::text("No flow was measured and no prediction was made."));
    } else {
        blocks.push(table.block());
    }
    blocks.extend(charts::flow_intervals(input));
    blocks.extend(charts::stage_flow(input, StageKind::Settle));
    blocks.push(Block::text(
        "Agreement with the outgoing unit's figures shows that nothing changed, not that anything was sound.",
    ));
    blocks
}

/// Findings about a hole at a stage.
fn hole_findings<'a>(input: &ReportInput<'a>, inlet: u8, number: u32) -> impl Iterator<Item = &'a Finding> {
    let subject = Subject::Hole(inlet, number);
    input.outcome.findings.iter().filter(move |f| f.stage == StageKind::ProveFlow && f.subject == subject)
}

/// Openings of a pipe without a measured drop.
pub(crate) fn not_closed(input: &ReportInput<'_>, pipe: &PipeFacts) -> Vec<u32> {
    let measured = |n: &u32| hole_findings(input, pipe.inlet, *n).any(|f| f.measured.is_some());
    pipe.openings.iter().filter(|o| o.diameter_mm > 0.0).map(|o| o.number).filter(|n| !measured(n)).collect()
}

fn holes(input: &ReportInput<'_>) -> Vec<Block> {
    let mut table = Table::new(
        format!("Each hole closed in turn: by how much the flow of its inlet fell. {}", interval_note(input)),
        &["Hole", "Verdict", "Diameter", "Fell by", "Predicted", "Found"],
    );
    let mut left = 0_usize;
    for p in input.pipes {
        for o in p.openings.iter().filter(|o| o.diameter_mm > 0.0) {
            let name = format!("Pipe {} {} {}", p.inlet, o.kind, o.number);
            let diameter = Cell::number(format!("{} mm", words::shortest(o.diameter_mm)));
            let mut any = false;
            for f in hole_findings(input, p.inlet, o.number) {
                any = true;
                table.rows.push(vec![
                    Cell::text(&name).below(&o.whereabouts),
                    judged(f),
                    Cell { text: diameter.text.clone(), number: true, ..Cell::default() },
                    Cell::number(figure_or_dash(f.measured.as_ref())),
                    Cell::number(figure_or_dash(f.expected.as_ref())),
                    Cell::text(said(f)).below(what_next(f)),
                ]);
            }
            if !any {
                left += 1;
                let reach = if o.reachable {
                    "not closed in turn: not shown to draw by itself"
                } else {
                    "out of reach, not closed in turn: not shown to draw by itself"
                };
                table.rows.push(vec![
                    Cell::text(&name).below(&o.whereabouts),
                    Cell::text("not shown"),
                    diameter,
                    Cell::text(""),
                    Cell::text(""),
                    Cell::text(reach),
                ]);
            }
        }
    }
    if table.rows.is_empty() {
        return vec![Block::text("No holes are known from the pipework file, and none was closed in turn.")];
    }
    let total = table.rows.len();
    let mut blocks = Vec::new();
    if left > 0 {
        blocks.push(Block::text(format!("{left} of {total} openings were not closed in turn. The baseline over them rests on the whole pipe's flow only.")));
    }
    blocks.push(table.block());
    blocks.extend(charts::hole_intervals(input));
    blocks.extend(charts::stage_flow(input, StageKind::ProveFlow));
    blocks
}

fn baseline(input: &ReportInput<'_>) -> Vec<Block> {
    let stage = StageKind::Baseline;
    let mut table = Table::new(
        format!(
            "The airflow baseline that the unit took, against what was measured just before. {}",
            interval_note(input)
        ),
        &["What", "Verdict", "Measured", "Expected", "Limit", "Found"],
    );
    for f in input.outcome.findings.iter().filter(|f| f.stage == stage) {
        table.rows.push(finding_cells(f));
    }
    if table.rows.is_empty() {
        return vec![Block::text("No baseline was taken in this job.")];
    }
    let mut blocks = vec![table.block()];
    blocks.extend(charts::baseline_intervals(input, stage));
    blocks.extend(charts::stage_flow(input, stage));
    blocks
}

/// What was predicted for a run, and what that is: the time of half of the plateau that the run was held against, or
/// the mean transport time where it was released at the far end and nothing was held against a prediction.
pub(crate) fn predicted<'a>(input: &ReportInput<'a>, run: &SmokeRun) -> Option<(&'a Figure, &'static str)> {
    let here = |f: &&Finding| match f.subject {
        Subject::Hole(inlet, hole) => (inlet, hole) == (run.inlet, run.hole),
        // A pipe can have smoke at several places; the window tells which runs a finding stands on.
        Subject::Pipe(inlet) => inlet == run.inlet && f.window.is_some_and(|(a, b)| (a..=b).contains(&run.released)),
        _ => false,
    };
    let mut findings = input.outcome.findings.iter().filter(|f| f.stage == StageKind::ProveSmoke).filter(here);
    if let Some(expected) = findings.find_map(|f| f.expected.as_ref().filter(|e| e.unit == "s")) {
        return Some((expected, "half of the plateau"));
    }
    let pipe = input.pipes.iter().find(|p| p.inlet == run.inlet)?;
    let far = pipe.openings.iter().filter(|o| o.diameter_mm > 0.0).map(|o| o.number).max();
    let flow = input.outcome.pipes.iter().find(|p| p.inlet == run.inlet)?;
    (far == Some(run.hole)).then_some((flow.predicted_transport.as_ref()?, "mean transport time"))
}

fn smoke(input: &ReportInput<'_>, clock: &Clock) -> Vec<Block> {
    let o = input.outcome;
    if o.smoke.is_empty() {
        return vec![Block::text("No smoke was released: not shown that smoke reaches the unit from any hole.")];
    }
    let limit = &input.plan.limits.transport;
    let mut table = Table::new(
        format!(
            "Smoke runs. Times count from the mark of the release. Timed is the moment at which the reading first reaches a tenth of its plateau. Its limit: {} ({}; {}). {}",
            words::limit(limit),
            limit.source,
            limit.mark.words(),
            interval_note(input)
        ),
        &[
            "Run",
            "Released",
            "A tenth of the plateau",
            "Half of the plateau",
            "Predicted",
            "First alarm level",
            "Remark",
        ],
    );
    for run in &o.smoke {
        let predicted = predicted(input, run);
        table.rows.push(vec![
            Cell::text(format!("Pipe {} hole {}, run {}", run.inlet, run.hole, run.run))
                .below(run.by.as_ref().map_or_else(String::new, |logger| format!("off the file of {logger}"))),
            Cell::number(words::log_time(run.released)).below(clock.time(run.released)),
            Cell::number(run.onset.as_ref().map_or_else(|| "no time".to_owned(), words::figure)),
            Cell::number(figure_or_dash(run.half_plateau.as_ref())),
            Cell::number(figure_or_dash(predicted.map(|p| p.0))).below(predicted.map_or("", |p| p.1)),
            Cell::number(run.alarm_after_s.map_or_else(dash, |s| format!("{} s", words::number(s, 1)))),
            Cell::text(run.set_aside.as_ref().map_or_else(
                || run.why_not.clone().unwrap_or_default(),
                |why| format!("SET ASIDE before its result was known: {why}"),
            )),
        ]);
    }
    let mut judged =
        Table::new("What the runs come to", &["Where", "Verdict", "Measured", "Expected", "Limit", "Found"]);
    for f in o.findings.iter().filter(|f| f.stage == StageKind::ProveSmoke) {
        judged.rows.push(finding_cells(f));
    }
    let mut blocks = vec![table.block()];
    if !judged.rows.is_empty() {
        blocks.push(judged.block());
    }
    blocks.push(Block::text(
        "The first alarm level counts the unit's own delays and is reported apart from the transport time. Agreement with the \
         prediction is judged at half of the plateau, because what comes early depends more on how the smoke mixes on its way.",
    ));
    blocks.extend(charts::smoke_runs(input));
    blocks
}

fn finding_cells(f: &Finding) -> Vec<Cell> {
    let limit = f.limit.as_ref().map_or_else(dash, words::limit);
    vec![
        Cell::text(words::subject(&f.subject)),
        judged(f),
        Cell::number(figure_or_dash(f.measured.as_ref())),
        Cell::number(figure_or_dash(f.expected.as_ref())),
        Cell::number(limit).below(f.limit.as_ref().map_or_else(String::new, |l| l.source.clone())),
        Cell::text(said(f)).below(what_next(f)),
    ]
}

/// The verdict, and how sure it is where a measured value was decided by the rule.
fn judged(f: &Finding) -> Cell {
    let cell = Cell::verdict(f.counts_as());
    match &f.decision {
        Some(d) if f.stands() => cell.below(decided(f, d)),
        _ => cell,
    }
}

/// Why something did not pass, most likely, and what to do next.
fn what_next(f: &Finding) -> String {
    if f.counts_as().is_pass() {
        return String::new();
    }
    let told = |what: &str, text: &Option<String>| text.as_ref().map(|text| format!("{what}: {text}"));
    [told("Most likely", &f.likely), told("Next", &f.next)].into_iter().flatten().collect::<Vec<_>>().join(". ")
}

/// Shown where it was measured, so not once more among all others.
fn shown_above(input: &ReportInput<'_>, f: &Finding) -> bool {
    match (f.stage, &f.subject) {
        (_, Subject::Check(_)) => f.counts_as().is_pass(),
        (StageKind::ProveFlow, Subject::Hole(inlet, number)) => {
            let mut known = input.pipes.iter().filter(|p| p.inlet == *inlet).flat_map(|p| &p.openings);
            known.any(|o| o.number == *number && o.diameter_mm > 0.0)
        }
        (stage, _) => {
            [StageKind::Baseline, StageKind::ProveSmoke, StageKind::Supervise, StageKind::LastLook].contains(&stage)
        }
    }
}

/// Passed, with nothing measured: many of one stage go into one row.
fn is_plain(f: &Finding) -> bool {
    f.stands() && f.counts_as().is_pass() && f.measured.is_none() && f.expected.is_none() && f.put_right.is_none()
}

fn after(input: &ReportInput<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (stage, what) in [
        (
            StageKind::Supervise,
            "An inlet shut on purpose must raise the unit's flow fault in time, and opening it must clear the fault",
        ),
        (StageKind::LastLook, "Flow once more against the baseline"),
    ] {
        let mut table = Table::new(what, &["What", "Verdict", "Measured", "Expected", "Limit", "Found"]);
        for f in input.outcome.findings.iter().filter(|f| f.stage == stage) {
            table.rows.push(finding_cells(f));
        }
        if table.rows.is_empty() {
            blocks.push(Block::text(format!("{}: not done, or nothing found.", stage.title())));
        } else {
            blocks.push(table.block());
            if stage == StageKind::LastLook {
                blocks.extend(charts::baseline_intervals(input, stage));
            }
            blocks.extend(charts::stage_flow(input, stage));
        }
    }
    if !input.outcome.band_sees.is_empty() {
        blocks.push(Block::text(
            "The smallest defect that the unit's own supervision sees, by its band and the predicted flows:",
        ));
        blocks.push(Block::list(input.outcome.band_sees.iter().map(|w| words::clean(&w.says))));
    }
    let band = &input.plan.limits.flow_band;
    blocks.push(Block::text(format!(
        "The unit's own supervision sees a change of its flow beyond ± {} only ({}). A single closed hole usually moves a pipe by \
         less and is not expected to raise a fault.",
        words::limit(band),
        band.source
    )));
    blocks
}

/// Everything that no section before shows.
fn findings(input: &ReportInput<'_>, clock: &Clock) -> Vec<Block> {
    let mut table = Table::new(
        "In the order in which it was found; what passed with nothing measured stands in one row for each stage",
        &["About", "Verdict", "Found", "Measured (expected; limit)", "Readings from"],
    );
    let mut all = input.outcome.findings.iter().filter(|f| !shown_above(input, f)).peekable();
    while let Some(f) = all.next() {
        if !is_plain(f) {
            table.rows.push(whole_row(f, clock));
            continue;
        }
        let about = |f: &Finding| format!("{}: {}", words::subject(&f.subject), f.says);
        let mut said = vec![about(f)];
        while let Some(more) = all.next_if(|more| is_plain(more) && more.stage == f.stage) {
            said.push(about(more));
        }
        let mut row = vec![Cell::text(f.stage.title()), Cell::verdict(Verdict::Pass), Cell::text(said.join(". "))];
        row.resize_with(5, Cell::default);
        table.rows.push(row);
    }
    if table.rows.is_empty() {
        return vec![Block::text("Nothing else was found.")];
    }
    vec![table.block()]
}

fn whole_row(f: &Finding, clock: &Clock) -> Vec<Cell> {
    let window = f.window.map_or_else(Cell::default, |(from, to)| {
        Cell::text(clock.both(from)).below(format!("for {}", words::duration(to.since(from).as_secs_f64())))
    });
    let expected = f.expected.as_ref().map(|e| format!("expected {}", words::figure(e)));
    let limit = f.limit.as_ref().map(|l| format!("limit {}", words::limit(l)));
    let against: Vec<String> = expected.into_iter().chain(limit).collect();
    vec![
        Cell::text(words::subject(&f.subject)).below(f.stage.title()),
        judged(f),
        Cell::text(said(f)).below(what_next(f)),
        Cell { text: f.measured.as_ref().map(words::figure).unwrap_or_default(), number: true, ..Cell::default() }
            .below(against.join("; ")),
        window,
    ]
}

/// What a finding says; one that is void or was put right says so first.
pub(crate) fn said(f: &Finding) -> String {
    if let Some(what) = &f.put_right {
        return format!("FOUND AND PUT RIGHT ({what}). Before: {}", f.says);
    }
    f.void.as_ref().map_or_else(|| f.says.clone(), |why| format!("VOID: {why}. Before: {}", f.says))
}
