//! `plumeline judge`: the readings of any logger, judged by the same rules as a job's.
//!
//! Not here: the rules themselves (the measure crate), how a logger's file is read (the job crate).
use crate::args::{Dates, DecimalMark, Judge, Logged, LoggerFile, Mark, Mean, Onset, Question, Settle};
use plumeline_base::{Instant, quantity::Estimate, time::seconds};
use plumeline_job::logger::{self, Decimal, Order, Preview, Readings, Stated};
use plumeline_measure::{
    Error, Sample,
    mean::{self, Terms},
    settle::{self, Reason, State},
    smoke::{self, Outcome, Release, Unclear},
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::{print_progress, print_result},
};
use serde_json::{Value, json};
use std::time::Duration;

/// What it came to.
struct Judged {
    /// One word for scripts.
    verdict: &'static str,
    exit: Exit,
    /// Plain sentences.
    words: Vec<String>,
    rule: Value,
    result: Value,
}

/// `plumeline judge`
pub fn judge(args: &Judge) -> Result<Exit, Failure> {
    match (&args.question, &args.file) {
        (Some(question), _) => answer(question),
        (None, Some(file)) => look(file),
        (None, None) => {
            Err(Failure::input("no file is named".to_owned(), "name it: plumeline judge flow.csv --columns"))
        }
    }
}

fn stated(file: &LoggerFile) -> Stated {
    Stated {
        time: file.time.clone(),
        column: file.column.clone(),
        dates: file.dates.map(|dates| match dates {
            Dates::DayFirst => Order::DayFirst,
            Dates::MonthFirst => Order::MonthFirst,
            Dates::YearFirst => Order::YearFirst,
        }),
        decimal: file.decimal.map(|mark| match mark {
            DecimalMark::Point => Decimal::Point,
            DecimalMark::Comma => Decimal::Comma,
        }),
        time_unit: file.time_unit.clone(),
        unit: file.unit.clone(),
        gaps: file.gap.clone(),
        encoding: file.encoding.clone(),
    }
}

/// What is understood of a file.
fn look(file: &LoggerFile) -> Result<Exit, Failure> {
    let preview = logger::preview(&file.file, &stated(file))?;
    if file.json {
        print_result(&serde_json::to_string_pretty(&to_json(&preview)?).map_err(|e| Failure::internal(e.to_string()))?);
    } else {
        described(&preview).iter().for_each(|line| print_result(line));
    }
    Ok(Exit::Pass)
}

fn described(p: &Preview) -> Vec<String> {
    let dates = p.dates.map_or(String::new(), |order| format!(", dates {order}"));
    let mut out = vec![
        format!("{}, cells apart by {}, decimal {}{dates}", p.encoding, p.separator, p.decimal),
        format!(
            "{} rows from {} to {}: {} s, one every {} s (median), at most {} s apart",
            p.rows, p.first, p.last, p.lasts_s, p.every_s, p.longest_s
        ),
    ];
    for (lines, at) in [(p.lines_before, "before the headings"), (p.lines_after, "behind the readings")] {
        if lines > 0 {
            out.push(format!("lines left out {at}: {lines}"));
        }
    }
    for (rows, line, what) in
        [(p.equal, p.equal_line, "the same time as"), (p.backward, p.backward_line, "an earlier time than")]
    {
        if let Some(line) = line {
            out.push(format!("rows with {what} the row before: {rows}, the first in line {line}"));
        }
    }
    for (i, c) in p.columns.iter().enumerate() {
        let unit = c.unit.as_ref().map_or("no unit".to_owned(), |unit| format!("in {unit}"));
        let figures = match (c.read_as, c.least, c.most) {
            ("readings", Some(least), Some(most)) => {
                format!(", {unit}: {} from {least} to {most}, {} gaps", c.numbers, c.gaps)
            }
            ("readings", ..) => format!(", {unit}: no number, {} gaps", c.gaps),
            _ => String::new(),
        };
        out.push(format!("  {} \"{}\": {}{figures}", i + 1, c.name, c.read_as));
    }
    out
}

/// The answer to a question.
fn answer(question: &Question) -> Result<Exit, Failure> {
    let logged = question.logged();
    let name = logged.file.file.display().to_string();
    let readings = logger::read(&logged.file.file, &stated(&logged.file))?;
    let samples = within(logged, &readings)?;
    let unit = &readings.unit;
    let judged = match question {
        Question::Settle(a) => settled(a, &samples, unit)?,
        Question::Onset(a) => responded(a, &samples, unit, instant(&readings, "--release", &a.release)?)?,
        Question::Mean(a) => averaged(a, &samples, unit)?,
    };
    let notes = noted(&readings);
    if logged.file.json {
        let whole = json!({
            "file": name,
            "column": readings.heading.name,
            "unit": unit,
            "readings": samples.len(),
            "notes": notes,
            "time_axis": "us or s after the first reading of the file",
            "verdict": judged.verdict,
            "words": judged.words,
            "rule": judged.rule,
            "result": judged.result,
        });
        print_result(&serde_json::to_string_pretty(&whole).map_err(|e| Failure::internal(e.to_string()))?);
    } else {
        let span = |s: Option<&Sample>| s.map_or(0.0, |s| s.at.as_secs_f64());
        let (from, to) = (span(samples.first()), span(samples.last()));
        print_progress(&format!(
            "{} ({unit}): {} readings, {from:.3} s to {to:.3} s",
            readings.heading.name,
            samples.len()
        ));
        print_progress("times count from the first reading of the file");
        notes.iter().for_each(|note| print_progress(note));
        judged.words.iter().for_each(|w| print_result(w));
    }
    Ok(judged.exit)
}

/// What was noticed while the file was read.
fn noted(readings: &Readings) -> Vec<String> {
    let met = [
        (readings.gaps, "rows without a value"),
        (readings.equal, "rows with the same time as the row before"),
        (readings.backward, "rows with an earlier time than the row before"),
    ];
    let said = met.into_iter().filter(|(met, _)| met.times > 0);
    let said = said.map(|(met, what)| format!("{what}: {}, the first in line {}", met.times, met.first_line));
    said.chain(readings.notes.iter().cloned()).collect()
}

/// A rule parameter that can't be used.
fn bad_rule(what: &str, range: &str) -> Failure {
    Failure::input(format!("{what} is out of its range: {range}"), "see `plumeline judge --help` and docs/judge.md")
}

fn instant(readings: &Readings, option: &str, text: &str) -> Result<Instant, Failure> {
    let us = readings
        .instant(text)
        .ok_or_else(|| Failure::input(format!("{option} {text}: it is no time"), readings.time_wanted()))?;
    Ok(after(us))
}

/// The readings between `--from` and `--to`.
fn within(args: &Logged, readings: &Readings) -> Result<Vec<Sample>, Failure> {
    let at = |option, text: &Option<String>, open| text.as_deref().map_or(Ok(open), |t| instant(readings, option, t));
    let from = at("--from", &args.from, Instant::START)?;
    let to = at("--to", &args.to, Instant::FAR_FUTURE)?;
    let all = readings.readings.iter().map(|&(us, value)| Sample::new(after(us), value));
    Ok(all.filter(|s| s.at >= from && s.at <= to).collect())
}

/// An instant on the axis of the readings; never before the first.
fn after(us: i64) -> Instant {
    Instant::from_micros(u64::try_from(us).unwrap_or(0))
}

fn to_json(value: impl serde::Serialize) -> Result<Value, Failure> {
    serde_json::to_value(value).map_err(|e| Failure::internal(e.to_string()))
}

// ---- settle ----

fn settled(args: &Settle, samples: &[Sample], unit: &str) -> Result<Judged, Failure> {
    let usual = settle::Rule::default();
    let max_gap = args.logged.max_gap;
    let started = samples.first().map_or(Instant::START, |s| s.at);
    let ended = samples.last().map_or(started, |s| s.at);
    let window = seconds(args.window);
    let rule = settle::Rule {
        window,
        slope_limit: args.slope_limit,
        resolution: args.logged.resolution,
        max_gap: seconds(max_gap),
        // A logger that is slow on purpose says so by its longest gap.
        min_rate_hz: usual.min_rate_hz.min(1.0 / max_gap),
        // The file is all there is: the risk is shared out over the looks that it holds.
        deadline: ended.since(started).max(window.saturating_mul(2)),
        confidence: args.confidence,
        ..usual
    };
    let mut settler = settle::Settler::new(rule, started);
    samples.iter().for_each(|s| settler.push(*s));
    settler.conclude();
    let state = settler.state(ended);
    let (verdict, exit, words) = match &state {
        State::Faulty { because: settle::Fault::BadRule { what } } => return Err(bad_rule("a parameter", what)),
        State::Steady { mean, slopes, limit, since, set_aside } => {
            let worst = slopes.iter().map(|s| s.per_minute.abs() + s.half_width).fold(0.0, f64::max);
            let words = format!(
                "steady since {:.1} s: trend at most {worst:.4} {unit} a minute where {limit:.4} is the limit; mean {:.4} ± {:.4} {unit} (95 %, no calibration term)",
                since.as_secs_f64(),
                mean.estimate.value,
                mean.expanded
            );
            let words = match set_aside {
                0 => words,
                1 => format!("{words}; 1 single reading far off the others is left out"),
                n => format!("{words}; {n} single readings far off the others are left out"),
            };
            ("steady", Exit::Pass, words)
        }
        State::NotYet { because, wait_estimate } => {
            let wait = wait_estimate.map_or(String::new(), |w| format!("; at least {:.0} s more", w.as_secs_f64()));
            ("not-steady", Exit::Undecided, format!("not steady at the end: {}{wait}", reason(because, unit)))
        }
        State::DeadlinePassed { because } => {
            ("not-steady", Exit::Undecided, format!("not steady at the end: {}", reason(because, unit)))
        }
        State::Faulty { because } => ("faulty", Exit::Undecided, format!("can't be judged: {}", fault(because, unit))),
    };
    Ok(Judged { verdict, exit, words: vec![words], rule: to_json(rule)?, result: to_json(state)? })
}

fn reason(reason: &Reason, unit: &str) -> String {
    match reason {
        Reason::WindowsNotFull => "two whole windows were not read".into(),
        Reason::Gap { after, missing } => {
            format!("nothing was read for {:.1} s after {:.1} s", missing.as_secs_f64(), after.as_secs_f64())
        }
        Reason::Restart { at } => format!("it restarted at {:.1} s", at.as_secs_f64()),
        Reason::Stale { last } => format!("the latest reading, at {:.1} s, is too old", last.as_secs_f64()),
        Reason::TooSlow { rate_hz } => format!("only {rate_hz:.3} readings a second; allow for it with --max-gap"),
        Reason::Trend { slope, limit } => format!(
            "it moves by {:+.4} ± {:.4} {unit} a minute where {limit:.4} is the limit",
            slope.per_minute, slope.half_width
        ),
        Reason::Scatter { slope, limit } => format!(
            "its scatter hides whether it moves: {:+.4} ± {:.4} {unit} a minute where {limit:.4} is the limit",
            slope.per_minute, slope.half_width
        ),
        Reason::Step { at, by } => format!("it jumped by {by:+.4} {unit} at {:.1} s", at.as_secs_f64()),
        Reason::Oscillation { amplitude, period_s } => {
            format!("it swings by {amplitude:.4} {unit} either way every {period_s:.0} s")
        }
        Reason::Spikes { count, last } => {
            format!("{count} single readings jumped, the last at {:.1} s", last.as_secs_f64())
        }
    }
}

fn fault(fault: &settle::Fault, unit: &str) -> String {
    match fault {
        settle::Fault::Stuck { value, since } => {
            format!(
                "it reads {value} {unit} without any change at least since {:.1} s: a stuck sensor",
                since.as_secs_f64()
            )
        }
        settle::Fault::NotANumber { at } => format!("the reading at {:.1} s is not a number", at.as_secs_f64()),
        settle::Fault::OutOfOrder { at, before } if at == before => {
            format!("the reading at {:.1} s has the same time as the one before it", at.as_secs_f64())
        }
        settle::Fault::OutOfOrder { at, .. } => {
            format!(
                "the reading at {:.1} s is not later than the one before it: the clock was set back",
                at.as_secs_f64()
            )
        }
        settle::Fault::BadRule { what } => (*what).into(),
    }
}

// ---- onset ----

fn responded(args: &Onset, samples: &[Sample], unit: &str, at: Instant) -> Result<Judged, Failure> {
    let mut release = match args.mark {
        Mark::ByHand => Release::by_hand(at),
        Mark::ByRadio => Release::by_radio(at),
        Mark::Device => Release::by_device(at, 0.0),
    };
    release.u_s = args.mark_uncertainty.unwrap_or(release.u_s);
    if !(release.u_s.is_finite() && release.u_s >= 0.0) {
        return Err(bad_rule("--mark-uncertainty", "finite and not negative"));
    }
    let usual = smoke::Rule::default();
    let rule = smoke::Rule {
        resolution: args.logged.resolution,
        full_scale: args.full_scale.unwrap_or(usual.full_scale),
        min_rise: args.min_rise,
        min_duration_s: args.min_duration,
        max_gap_s: args.logged.max_gap,
        ..usual
    };
    // Cut by position, so that times out of order stay where they were read.
    let split = samples.iter().position(|s| s.at >= at).unwrap_or(samples.len());
    let (before, after) = samples.split_at(split);
    let outcome = smoke::analyse(before, after, &release, &rule);
    if let Outcome::Undecided { because: Unclear::Evidence(Error::BadRule { what, range }) } = &outcome {
        return Err(bad_rule(what, range));
    }
    let (verdict, exit, words) = outcome_in_words(&outcome, unit, at);
    Ok(Judged { verdict, exit, words, rule: json!({ "rule": rule, "release": release }), result: to_json(&outcome)? })
}

fn outcome_in_words(outcome: &Outcome, unit: &str, release: Instant) -> (&'static str, Exit, Vec<String>) {
    let since_release = |t: f64| t - release.as_secs_f64();
    let time = |t: &Estimate, low: f64, high: f64| {
        format!("{:.2} s after the release (95 %: {low:.2} s to {high:.2} s)", t.value)
    };
    match outcome {
        Outcome::Response(r) => {
            let half = &r.half_plateau_s;
            let k = plumeline_measure::stats::normal_quantile(0.975);
            let mut words = vec![
                format!("a tenth of the plateau {}", time(&r.onset_s, r.onset_interval95_s.0, r.onset_interval95_s.1)),
                format!("half of the plateau {}", time(half, half.value - k * half.u(), half.value + k * half.u())),
                format!(
                    "plateau {:.4} ± {:.4} {unit} over a baseline of {:.4}",
                    r.plateau.value,
                    k * r.plateau.u(),
                    r.baseline.value
                ),
            ];
            if r.puffs.len() > 1 {
                let peaks: Vec<_> = r.puffs.iter().map(|p| format!("{:.1} s", since_release(p.peak_s))).collect();
                words.push(format!(
                    "{} puffs, highest at {} after the release; the first is timed",
                    r.puffs.len(),
                    peaks.join(", ")
                ));
            }
            ("response", Exit::Pass, words)
        }
        Outcome::TooWeak { peak, needed } => {
            let words = format!("it rose by {peak:.4} {unit} only; {needed:.4} is the least that counts");
            ("too-weak", Exit::Undecided, vec![words])
        }
        Outcome::NoRise { would_have_seen } => {
            let words = format!("nothing rose; {would_have_seen:.4} {unit} would have been seen");
            ("no-rise", Exit::Undecided, vec![words])
        }
        Outcome::Saturated { onset_s, onset_interval95_s: (low, high), since_s } => {
            let ceiling = format!(
                "the reading ran into its ceiling at {:.1} s after the release: no plateau, and so no time to half of it",
                since_release(*since_s)
            );
            let rise = format!("a tenth of what it shows {}", time(onset_s, *low, *high));
            ("saturated", Exit::Undecided, vec![ceiling, rise])
        }
        Outcome::Undecided { because } => {
            ("undecided", Exit::Undecided, vec![format!("it can't be told: {}", unclear(because, unit, release))])
        }
    }
}

fn unclear(why: &Unclear, unit: &str, release: Instant) -> String {
    match why {
        Unclear::Evidence(error) => format!("{error}; {}", error.remedy()),
        Unclear::BeforeRelease { onset_s } => {
            format!("it rose {:.1} s before the release", release.as_secs_f64() - onset_s)
        }
        Unclear::TooShort { lasted_s } => format!("it rose for {lasted_s:.1} s only"),
        Unclear::RestlessBaseline { drift_per_minute } => {
            format!("the baseline before the release is not at rest (drift {drift_per_minute:+.4} {unit} a minute)")
        }
        Unclear::EndsTooSoon => "the readings end before the rise has shown its plateau".into(),
        Unclear::TooSlow => "no rise that smoke makes explains the readings around it".into(),
    }
}

// ---- mean ----

fn averaged(args: &Mean, samples: &[Sample], unit: &str) -> Result<Judged, Failure> {
    let terms = Terms {
        resolution: args.logged.resolution,
        calibration_relative: args.calibration_relative,
        calibration_absolute: args.calibration_absolute,
        coverage: args.coverage,
        max_gap: seconds(args.logged.max_gap),
        // A file does not age.
        max_age: Duration::ZERO,
        ..Terms::default()
    };
    let now = samples.last().map_or(Instant::START, |s| s.at);
    let (verdict, exit, words, result) = match mean::mean_of(samples, now, &terms) {
        Err(Error::BadRule { what, range }) => return Err(bad_rule(what, range)),
        Ok(m) => {
            let percent = terms.coverage * 100.0;
            let dof = if m.dof < 1000.0 { format!("{:.0}", m.dof) } else { "over 1000".into() };
            let words = vec![
                format!(
                    "mean {:.4} ± {:.4} {unit} ({percent} % coverage, factor {:.3}, {dof} degrees of freedom)",
                    m.estimate.value, m.expanded, m.coverage_factor
                ),
                format!(
                    "standard uncertainty {:.4} {unit}: {:.4} of scatter and resolution, {:.4} of calibration; {} readings are worth {:.0} independent ones",
                    m.estimate.u(),
                    m.estimate.u_individual,
                    m.estimate.u_common,
                    m.n,
                    m.n_effective
                ),
            ];
            ("mean", Exit::Pass, words, to_json(m)?)
        }
        Err(error) => {
            ("undecided", Exit::Undecided, vec![format!("no mean: {error}; {}", error.remedy())], to_json(error)?)
        }
    };
    Ok(Judged { verdict, exit, words, rule: to_json(terms)?, result })
}
