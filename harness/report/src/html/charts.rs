//! Which charts the page shows, built from readings, stages and findings.
use super::{doc::Block, measured};
use crate::{
    chart::{
        interval,
        panels::{Moment, Panel, Stroke, TimeChart, moment_label},
    },
    input::ReportInput,
    record::Series,
    words::{self, clean},
};
use core::time::Duration;
use plumeline_base::{Instant, Verdict};
use plumeline_procedure::outcome::{DecisionFacts, Figure, Finding, SmokeRun, StageKind, StageResult, Subject};

/// Rows of an interval chart before it is split, so that none is cut by the end of a page.
const ROWS: usize = 24;

fn chart(svg: Option<String>, caption: impl AsRef<str>) -> Option<Block> {
    svg.map(|svg| Block::Chart { svg, caption: clean(caption.as_ref()) })
}

fn seconds(points: &Series, origin: Instant, scale: impl Fn(f64) -> f64) -> Vec<(f64, Option<f64>)> {
    let zero = origin.as_secs_f64();
    points.points.iter().map(|(t, v)| (t.as_secs_f64() - zero, v.map(&scale))).collect()
}

/// Inlets to chart with their flow: those with a pipe, or all that told a flow if no pipe is known.
fn flows<'a>(input: &ReportInput<'a>) -> Vec<(u8, &'a Series)> {
    let numbered = input.record.flow.iter().enumerate().filter_map(|(k, s)| Some((u8::try_from(k + 1).ok()?, s)));
    let known = |inlet: u8| input.pipes.iter().any(|p| p.inlet == inlet);
    numbered.filter(|(inlet, _)| input.pipes.is_empty() || known(*inlet)).collect()
}

/// Flow of every inlet over the whole job, with numbered stages and the moment of the baseline.
pub(crate) fn whole_job(input: &ReportInput<'_>) -> Option<Block> {
    let flows = flows(input);
    if flows.is_empty() {
        return None;
    }
    let stages = &input.outcome.stages;
    let end = stages.iter().map(|s| s.ended).chain([input.record.until]).max()?;
    let baseline = stages.iter().find(|s| s.stage == StageKind::Baseline && s.complete);
    let moment = |s: &StageResult| Moment {
        at: s.ended.as_secs_f64(),
        half: 0.0,
        label: if s.verdict == Verdict::Pass { "baseline taken".into() } else { "baseline stage ended".into() },
        stroke: Stroke::Solid,
    };
    let svg = TimeChart {
        title: "Flow of each inlet over the job".into(),
        desc: "One panel for each pipe; bands and numbers at the top are the stages of the table. Where no readings came the line is broken.".into(),
        to: end.as_secs_f64(),
        since: "since the log was opened".into(),
        unit: input.record.flow_unit().into(),
        height: 84.0,
        stages: stages
            .iter()
            .enumerate()
            .map(|(k, s)| (s.began.as_secs_f64(), s.ended.as_secs_f64(), (k + 1).to_string()))
            .collect(),
        moments: baseline.map(moment).into_iter().collect(),
        panels: flows
            .iter()
            .map(|(inlet, series)| Panel {
                label: format!("Pipe {inlet}"),
                points: seconds(series, Instant::START, |v| v),
                from_zero: true,
                ..Panel::default()
            })
            .collect(),
        ..TimeChart::default()
    }
    .svg("chart-job");
    chart(
        svg,
        format!(
            "Flow of each inlet over the job, {}. Numbers at the top are the stages of the table above. No line is drawn where no readings came.",
            input.record.flow_unit()
        ),
    )
}

/// Flow of each inlet during one stage: windows that were averaged, holes that were closed, what was expected.
pub(crate) fn stage_flow(input: &ReportInput<'_>, stage: StageKind) -> Vec<Block> {
    let flows = flows(input);
    let runs = input.outcome.stages.iter().filter(|s| s.stage == stage && s.ended > s.began);
    let charts = runs.enumerate().filter_map(|(k, s)| {
        let zero = s.began.as_secs_f64();
        let length = s.ended.as_secs_f64() - zero;
        let panels: Vec<Panel> = flows.iter().map(|(inlet, series)| stage_panel(input, s, *inlet, series)).collect();
        let shows = match stage {
            StageKind::Settle => "the windows over which it was found steady or not (shaded)",
            StageKind::ProveFlow => {
                "what was predicted (band with dashed edges), the windows averaged over (shaded), and holes while they were closed (shaded, by number)"
            }
            StageKind::Supervise => "the unit's baseline and its band",
            _ => "the unit's baseline, the material change, and the windows averaged over (shaded)",
        };
        let caption = format!("Flow during \"{}\", {}, with {shows}.", stage.title(), input.record.flow_unit());
        let svg = TimeChart {
            title: format!("Flow during the stage: {}", stage.title()),
            desc: caption.clone(),
            to: length,
            since: "since the stage began".into(),
            unit: input.record.flow_unit().into(),
            height: 96.0,
            panels,
            ..TimeChart::default()
        };
        if svg.panels.is_empty() {
            return None;
        }
        chart(svg.svg(&format!("chart-{stage}-{k}")), caption)
    });
    charts.collect()
}

fn stage_panel(input: &ReportInput<'_>, s: &StageResult, inlet: u8, series: &Series) -> Panel {
    let zero = s.began.as_secs_f64();
    let pipe = input.outcome.pipes.iter().find(|p| p.inlet == inlet);
    let about = |f: &&Finding| f.stage == s.stage && f.subject == Subject::Pipe(inlet);
    let mut spans: Vec<(f64, f64, String)> = input
        .outcome
        .findings
        .iter()
        .filter(about)
        .filter_map(|f| f.window)
        .map(|(from, to)| (from.as_secs_f64() - zero, to.as_secs_f64() - zero, String::new()))
        .collect();
    if s.stage == StageKind::ProveFlow {
        let closed = input.record.closed.iter().filter(|(_, _, h)| h.inlet == inlet);
        spans.extend(
            closed.map(|(from, to, h)| (from.as_secs_f64() - zero, to.as_secs_f64() - zero, h.number.to_string())),
        );
    }
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    spans.dedup();
    // What is predicted and held is a flow: beside shares of an unknown one it is not drawn.
    let pipe = pipe.filter(|p| p.predicted.unit == input.record.flow_unit());
    let interval = pipe.filter(|_| s.stage == StageKind::ProveFlow).map(|p| {
        let u = p.predicted.expanded.unwrap_or(0.0);
        (p.predicted.value - u, p.predicted.value + u)
    });
    let band = match s.stage {
        StageKind::Supervise => Some(&input.plan.limits.flow_band),
        StageKind::Baseline | StageKind::LastLook => Some(&input.plan.flow.material),
        _ => None,
    };
    let mut levels = Vec::new();
    if let (Some(b), Some(band)) = (pipe.and_then(|p| p.baseline), band) {
        let share = words::percent(band.value, 0);
        levels.push((b * (1.0 + band.value), format!("baseline + {share}"), Stroke::Heavy));
        levels.push((b, "baseline".to_owned(), Stroke::Dashed));
        levels.push((b * (1.0 - band.value), format!("baseline - {share}"), Stroke::Heavy));
    }
    let from = zero;
    let to = s.ended.as_secs_f64();
    let points = seconds(series, s.began, |v| v);
    let points = points.into_iter().filter(|(t, _)| *t >= -1.0 && *t <= to - from + 1.0).collect();
    Panel { label: format!("Pipe {inlet}"), points, interval, levels, spans, ..Panel::default() }
}

/// Measured against predicted flow.
pub(crate) fn flow_intervals(input: &ReportInput<'_>) -> Vec<Block> {
    let rows = input.outcome.pipes.iter().map(|p| {
        let tolerance = input.plan.flow.material.value * p.predicted.value;
        interval::Row {
            label: format!("Pipe {}", p.inlet),
            expected: Some(pair(&p.predicted)),
            measured: p.measured.as_ref().filter(|m| m.unit == p.predicted.unit).map(pair),
            low: Some(p.predicted.value - tolerance),
            high: Some(p.predicted.value + tolerance),
        }
    });
    intervals("flow", "Measured against predicted flow", "L/min", rows.collect())
}

/// The flow of a stage against the unit's baseline: just before it was taken, or at the last look.
pub(crate) fn baseline_intervals(input: &ReportInput<'_>, stage: StageKind) -> Vec<Block> {
    let material = input.plan.flow.material.value;
    let rows = input.outcome.findings.iter().filter(|f| f.stage == stage).filter_map(|f| {
        let Subject::Pipe(inlet) = f.subject else { return None };
        let baseline = input.outcome.pipes.iter().find(|p| p.inlet == inlet)?.baseline?;
        // The finding about the baseline itself holds the flow as what was expected of it.
        let flow = if stage == StageKind::Baseline { &f.expected } else { &f.measured };
        Some(interval::Row {
            label: format!("Pipe {inlet}"),
            expected: Some((baseline, 0.0)),
            measured: Some(pair(flow.as_ref().filter(|f| f.unit == "L/min")?)),
            low: Some(baseline * (1.0 - material)),
            high: Some(baseline * (1.0 + material)),
        })
    });
    let what = if stage == StageKind::Baseline { "Flow just before the baseline" } else { "Flow at the last look" };
    let caption = format!(
        "{what} against the unit's baseline, L/min. Dot and line: measured, with its interval. Dashed tick: the baseline. Heavy brackets: \
         the material change."
    );
    let title = format!("{what} against the baseline");
    let rows: Vec<interval::Row> = rows.collect();
    chart(interval::svg(&format!("chart-against-baseline-{stage}"), &title, &caption, "L/min", &rows), &caption)
        .into_iter()
        .collect()
}

/// Measured against predicted drop at each closed hole.
pub(crate) fn hole_intervals(input: &ReportInput<'_>) -> Vec<Block> {
    let (agreement, unit) = (input.plan.holes.agreement.value, input.record.flow_unit());
    let rows = input.outcome.findings.iter().filter(|f| f.stage == StageKind::ProveFlow).filter_map(|f| {
        let Subject::Hole(inlet, number) = f.subject else { return None };
        let (measured, expected) = (f.measured.as_ref()?, f.expected.as_ref()?);
        (measured.unit == unit && expected.unit == unit).then(|| interval::Row {
            label: format!("Pipe {inlet} hole {number}"),
            expected: Some(pair(expected)),
            measured: Some(pair(measured)),
            low: Some(allowed(f, expected, |d| d.low).unwrap_or(expected.value * (1.0 - agreement))),
            high: Some(allowed(f, expected, |d| d.high).unwrap_or(expected.value * (1.0 + agreement))),
        })
    });
    intervals("holes", "What holes draw against the prediction and the pipe's other holes", unit, rows.collect())
}

/// A limit of the decision, which is one of the difference from what is expected.
fn allowed(f: &Finding, expected: &Figure, limit: impl Fn(&DecisionFacts) -> Option<f64>) -> Option<f64> {
    Some(expected.value + limit(f.decision.as_ref()?)?)
}

fn pair(f: &Figure) -> (f64, f64) {
    (f.value, f.expanded.unwrap_or(0.0))
}

fn intervals(id: &str, title: &str, unit: &str, rows: Vec<interval::Row>) -> Vec<Block> {
    let caption = format!(
        "{title}, {unit}. Dot and line: measured, with its interval. Grey bar and dashed tick: expected, with its interval. Heavy \
         brackets: what is allowed."
    );
    let parts = rows.chunks(ROWS).enumerate();
    parts
        .filter_map(|(k, rows)| chart(interval::svg(&format!("chart-{id}-{k}"), title, &caption, unit, rows), &caption))
        .collect()
}

/// One chart for each smoke run: obscuration since the release, with what was found, predicted and allowed.
pub(crate) fn smoke_runs(input: &ReportInput<'_>) -> Vec<Block> {
    input.outcome.smoke.iter().enumerate().filter_map(|(k, run)| smoke_run(input, k, run)).collect()
}

fn smoke_run(input: &ReportInput<'_>, k: usize, run: &SmokeRun) -> Option<Block> {
    let before = Duration::from_secs(10);
    let length = run.until.since(run.released).as_secs_f64();
    let limit = &input.plan.limits.transport;

    let mut moments = vec![Moment { at: 0.0, half: 0.0, label: "release".into(), stroke: Stroke::Solid }];
    let mut mark = |what: &str, f: &Figure, stroke| {
        if f.value.is_finite() {
            let half = f.expanded.filter(|u| u.is_finite());
            moments.push(Moment {
                at: f.value,
                half: half.unwrap_or(0.0),
                label: moment_label(what, f.value, half),
                stroke,
            });
        }
    };
    if let Some(f) = &run.onset {
        mark("a tenth of the plateau", f, Stroke::Solid);
    }
    if let Some(f) = &run.half_plateau {
        mark("half of the plateau", &Figure { expanded: None, ..f.clone() }, Stroke::Dotted);
    }
    if let Some((f, what)) = measured::predicted(input, run) {
        mark(&format!("predicted, {what}"), f, Stroke::Dashed);
    }
    if let Some(f) = &run.by_hand {
        mark("marked by hand", &Figure { expanded: None, ..f.clone() }, Stroke::Dotted);
    }
    if let Some(s) = run.alarm_after_s {
        mark("alarm level", &Figure::plain(s, "s"), Stroke::Dotted);
    }
    mark("limit", &Figure::plain(limit.value, "s"), Stroke::Heavy);
    let last = moments.iter().map(|m| m.at + m.half).fold(length, f64::max);
    moments.sort_by(|a, b| a.at.total_cmp(&b.at));

    let unit = input.obscuration;
    // Off a logger's file, or as the unit told it.
    let told = match run.curve.as_slice() {
        [] => seconds(input.record.extinction_of(run.inlet)?, run.released, |e| words::obscuration(e, unit)),
        stored => stored.iter().map(|(s, e)| (*s, Some(words::obscuration(*e, unit)))).collect(),
    };
    let points: Vec<_> = told.into_iter().filter(|(t, _)| *t >= -before.as_secs_f64() && *t <= length).collect();
    let aside = run.set_aside.as_ref().map(|why| format!("set aside before its result was known: {why}"));
    let result = match (&run.onset, aside.as_ref().or(run.why_not.as_ref())) {
        (Some(f), _) => format!("a tenth of the plateau after {}", words::figure(f)),
        (None, Some(why)) if aside.is_some() => why.clone(),
        (None, Some(why)) => format!("no time: {why}"),
        (None, None) => "no time".to_owned(),
    };
    let name = format!("Pipe {} hole {}, run {}", run.inlet, run.hole, run.run);
    let by = run.by.as_ref().map_or_else(String::new, |logger| format!(", off the file of {logger}"));
    let caption =
        format!("{name}: {result}. Obscuration in {unit} since the release{by}; shaded about a line: its interval.");
    let svg = TimeChart {
        title: format!("Smoke run: {name}"),
        desc: caption.clone(),
        from: -before.as_secs_f64(),
        to: last * 1.02,
        since: "since the release".into(),
        unit: unit.symbol().into(),
        height: 130.0,
        moments,
        panels: vec![Panel { label: "Obscuration".into(), points, from_zero: true, ..Panel::default() }],
        ..TimeChart::default()
    };
    chart(svg.svg(&format!("chart-smoke-{k}")), caption)
}
