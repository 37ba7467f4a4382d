//! What somebody looks for who has to rely on a record: who, where, when, over which link, who answered, what was done again or
//! left out, which limits the job set for itself, and dates that do not fit.
//!
//! Not here: whether the record was altered (the seals, the replay).
use crate::beside;
use plumeline_base::Verdict;
use plumeline_detector::Identity;
use plumeline_job::{
    folder::{self, Folder},
    remarks::{self, Code},
    seal::{Seal, Standing, State, design},
};
use plumeline_procedure::{Outcome, Subject, plan::Plan, rules};
use plumeline_report::{Record, standing, words};
use plumeline_runtime::{clock, finish, job_files::Files, replay::Replayed};
use serde::Serialize;
use serde_json::Value;

/// Times of the log are known to this much of the date, s.
pub(crate) const WITHIN_S: f64 = 120.0;

/// What there is to know of a job besides its findings.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Inspection {
    /// What must be known before the verdict.
    pub cautions: Vec<String>,
    /// Dates that do not fit.
    pub doubts: Vec<String>,
    /// Facts, each a word for what it is and its value.
    pub facts: Vec<(&'static str, String)>,
}

impl Inspection {
    /// Looks at a job that was replayed.
    pub fn of(folder: &Folder, standing: &Standing, done: &Replayed) -> Self {
        let (record, plan) = (done.session.record(), &done.loaded.inputs.plan);
        let mut facts = vec![
            ("site", plan.site.clone()),
            (
                "kind",
                if plan.visit.is_some() { "service visit, no unit exchanged" } else { "exchange of units" }.to_owned(),
            ),
            ("technician", plan.technician.clone()),
            ("link", none_or(&record.links)),
        ];
        facts.extend(record.dates.first().map(|(_, date)| ("begun", date.clone())));
        facts.extend(end_of(record).map(|date| ("ended", date)));
        if let Some(outcome) = done.session.outcome() {
            facts.extend(of_outcome(outcome));
            facts.extend(others(folder, outcome).into_iter().map(|words| ("other job at this unit", words)));
        }
        facts.extend(of_record(record));
        facts.extend(limits(plan).into_iter().map(|words| ("limit set by this job", words)));
        facts.extend(lax(folder).into_iter().map(|words| ("LIMIT LAXER THAN USUAL", words)));
        let mut cautions = done.session.outcome().map(finish::cautions).unwrap_or_default();
        match design(&done.files) {
            Some(Ok(words)) => facts.push(("design", words)),
            Some(Err(words)) => cautions.push(words),
            None => facts.push(("design", "not signed before the job".to_owned())),
        }
        Self { cautions, doubts: doubts(standing, record), facts }
    }
    /// As lines.
    pub fn lines(&self) -> Vec<String> {
        let doubts = self.doubts.iter().map(|words| format!("DATE THAT DOES NOT FIT: {words}"));
        let facts = self.facts.iter().map(|(what, value)| format!("{what}: {value}"));
        self.cautions.iter().cloned().chain(doubts).chain(facts).collect()
    }
}

/// Whether the job was judged by the design that somebody signed before it; nothing where none was signed.
pub(crate) fn design(files: &Files) -> Option<Result<String, String>> {
    let (_, bytes) = files.0.iter().find(|(name, _)| name == folder::DESIGN)?;
    let signed = match design::read(bytes) {
        Ok(signed) => signed,
        Err(problem) => return Some(Err(format!("DESIGN NOT AS SIGNED: {}: {}", problem.file(), problem.cause()))),
    };
    let by = format!("{} ({}) on {}", signed.signer, signed.key.fingerprint(), signed.date);
    let differs = signed.differs_from(files.0.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())));
    let words = signed.statement.map_or_else(String::new, |words| format!(", who says: \"{words}\""));
    Some(if differs.is_empty() {
        Ok(format!("the job was judged by what {by} signed{words}"))
    } else {
        Err(format!("DESIGN NOT AS SIGNED by {by}: {}", differs.join("; ")))
    })
}

fn none_or(all: &[String]) -> String {
    if all.is_empty() { "none".to_owned() } else { all.join(", ") }
}

fn of_outcome(o: &Outcome) -> Vec<(&'static str, String)> {
    let unit = |unit: Option<&Identity>| {
        unit.map_or_else(
            || "not identified".to_owned(),
            |u| format!("{} {}, serial {}, firmware {}", u.maker, u.model, u.serial, u.firmware),
        )
    };
    let origin = &o.origin;
    let mut facts = vec![
        ("outgoing unit", unit(o.outgoing.as_ref())),
        ("replacement", unit(o.replacement.as_ref())),
        ("answers", format!("{} by people, {} by a script", origin.answers_of_people, origin.answers_of_scripts)),
    ];
    facts.extend(o.out_of_service_s.map(|s| ("out of service", format!("{:.1} h", s / 3600.0))));
    facts.extend(
        standing::put_right(o)
            .map(|(f, what)| ("found and put right", format!("{} at {}: {} ({what})", f.subject, f.stage, f.says))),
    );
    let again = o.stages.iter().filter(|s| s.put_right.is_some() && s.verdict != Verdict::Pass);
    facts.extend(again.map(|s| ("stage done again", format!("{}, which had come to {}", s.stage, s.verdict))));
    let aside = o.smoke.iter().filter_map(|run| Some((run, run.set_aside.as_ref()?)));
    facts.extend(aside.map(|(run, why)| {
        ("smoke run set aside", format!("pipe {} hole {}, run {}: {why}", run.inlet, run.hole, run.run))
    }));
    facts.extend(read_off(o));
    facts.extend(o.not_done.iter().map(|(stage, why)| ("not done", format!("{stage}: {why}"))));
    facts
}

/// Numbers that people read off instruments, each with its instrument, and what holds of the instruments.
fn read_off(o: &Outcome) -> impl Iterator<Item = (&'static str, String)> {
    o.findings.iter().filter(|f| f.stands()).filter_map(|f| match (&f.subject, &f.measured) {
        (Subject::Instrument(_), _) => Some(("instrument", format!("{} ({})", f.says, f.verdict))),
        (about, Some(figure)) if figure.by.is_some() => {
            Some(("read off an instrument", format!("{about} at {}: {}", f.stage, words::figure(figure))))
        }
        _ => None,
    })
}

fn of_record(record: &Record) -> Vec<(&'static str, String)> {
    let gap =
        |from: plumeline_base::Instant, to: plumeline_base::Instant| format!("{:.0} s", to.since(from).as_secs_f64());
    let gaps = record.line_gaps.iter().map(|(from, to, what)| {
        ("gap in the line", format!("{} from {:.0} s of the log on: {what}", gap(*from, *to), from.as_secs_f64()))
    });
    let voided = record.voided.iter().map(|(at, stages, why)| {
        let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
        ("made void", format!("at {:.0} s: {} ({why})", at.as_secs_f64(), stages.join(", ")))
    });
    let overrides = record.overrides.iter().map(|o| ("gone on although unproven", o.answer.clone()));
    let taken_up = record.dates.len().saturating_sub(1);
    let taken_up = (taken_up > 0).then(|| ("taken up again, or date noted again", format!("{taken_up} times")));
    taken_up.into_iter().chain(gaps).chain(voided).chain(overrides).collect()
}

/// Jobs in folders beside this one that were done at one of its units, the oldest first: an earlier attempt is part of the history.
fn others(folder: &Folder, outcome: &Outcome) -> Vec<String> {
    let serials: Vec<&str> = [&outcome.outgoing, &outcome.replacement]
        .into_iter()
        .flatten()
        .map(|unit| unit.serial.as_str())
        .filter(|serial| !serial.is_empty())
        .collect();
    let shown = |(dir, result, serial): (std::path::PathBuf, Value, String)| {
        let text = |value: &Value| value.as_str().unwrap_or("unknown").to_owned();
        let (date, verdict) = (text(&result["dates"][0]["date"]), text(&result["verdict"]));
        let name = dir.file_name().unwrap_or_default().to_string_lossy();
        format!("{date}: {verdict}, serial {serial}, in {name}")
    };
    let mut found: Vec<String> = beside::jobs(folder, &serials).into_iter().map(shown).collect();
    found.sort();
    found
}

/// Rules that the plan changed, each beside what holds by itself.
fn limits(plan: &Plan) -> Vec<String> {
    let changed = rules::used(plan).into_iter().filter(|used| used.changed);
    changed
        .map(|used| {
            let shown = |value: f64| used.rule.dimension.shown(value);
            let own = used.limit.as_ref().map_or_else(|| "not stated".to_owned(), |l| shown(l.value));
            let usual = used.rule.default().map_or_else(|| "not stated".to_owned(), |l| shown(l.value));
            format!("{} {own} (by itself {usual})", used.rule.path())
        })
        .collect()
}

fn lax(folder: &Folder) -> Vec<String> {
    let Ok(files) = Files::read(folder) else { return Vec::new() };
    let (_, remarks) = remarks::files(|name| files.0.iter().find(|(n, _)| n == name).map(|(_, b)| b.as_slice()));
    remarks.into_iter().filter(|r| r.code == Code::LimitLax).map(|r| format!("{}: {}", r.key, r.says)).collect()
}

/// The date of the log's end.
fn end_of(record: &Record) -> Option<String> {
    let (at, date) = record.dates.last()?;
    clock::later(date, record.until.since(*at).as_secs_f64())
}

/// Against the bundled simulator time jumps: the log of an hour is there in a second.
pub(crate) fn jumps(record: &Record) -> bool {
    record.links.iter().any(|link| link.starts_with("sim:"))
}

/// Dates that can't be: a seal of before the log's end, or of before another seal; a log whose dates fall.
fn doubts(standing: &Standing, record: &Record) -> Vec<String> {
    let mut doubts = Vec::new();
    let seals: Vec<&Seal> =
        standing.seals.iter().map(|held| &held.seal).filter(|seal| !seal.key.is_demonstration()).collect();
    if let (Some(last), Some(end), State::Sealed, false) = (seals.last(), end_of(record), standing.state, jumps(record))
        && clock::between(&end, &last.date).is_none_or(|s| s < -WITHIN_S)
    {
        doubts.push(format!("seal {} is of {}, the end of the log it covers of {end}", last.number, last.date));
    }
    for pair in seals.windows(2) {
        if clock::between(&pair[0].date, &pair[1].date).is_none_or(|s| s < -WITHIN_S) {
            let [(n, date), (m, then)] = [(pair[1].number, &pair[1].date), (pair[0].number, &pair[0].date)];
            doubts.push(format!("seal {n} is of {date}, seal {m} before it of {then}"));
        }
    }
    for pair in record.dates.windows(2) {
        let passed = pair[1].0.since(pair[0].0).as_secs_f64();
        if clock::between(&pair[0].1, &pair[1].1).is_none_or(|s| s < passed - WITHIN_S) {
            doubts.push(format!("the log says {}, and {passed:.0} s later {}", pair[0].1, pair[1].1));
        }
    }
    doubts
}
