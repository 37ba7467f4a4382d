//! One page for the customer: the verdict, what was done, what it rests on, what was put right, what is open, a code, signatures.
//!
//! Everything on it is of the same outcome as the report; lists are cut so that it stays one page, and say so. Not here: the whole
//! record, for whoever has to rely on it.
use super::{clock::Clock, first, rules, work::VISIT};
use crate::{
    ReportError,
    input::{PipeFacts, ReportInput},
    shown_by,
    standing::{Loud, put_right, shown_verdict, standings},
    text::headline,
    words::{self, clean},
};
use askama::Template;
use plumeline_base::Verdict;
use plumeline_detector::Identity;
use plumeline_job::{code, digest::Digest};
use plumeline_procedure::outcome::{StageKind, Subject};

/// Lines of a list that have room.
const SHOWN: usize = 6;
/// Characters of a line that have room.
const WIDE: usize = 220;
/// Pipes that are drawn.
const DRAWN: usize = 8;

#[derive(Template)]
#[template(path = "page.html")]
struct Page {
    title: String,
    kind: &'static str,
    site: String,
    when: String,
    verdict: Verdict,
    word: String,
    because: String,
    loud: Vec<Loud>,
    done: String,
    facts: Vec<(&'static str, String)>,
    pipes: Vec<[String; 6]>,
    drawing: String,
    rests: String,
    right: Vec<String>,
    open: Vec<String>,
    missed: String,
    code: String,
    tool: String,
    caveat: &'static str,
}

/// The page.
pub fn page(input: &ReportInput<'_>) -> Result<String, ReportError> {
    let o = input.outcome;
    let verdict = shown_verdict(o);
    let word = headline(o, verdict);
    let loud = first::loud_lines(input).into_iter().map(|l| Loud { text: short(&l.text), ..l });
    let page = Page {
        title: format!("{word} – {}", clean(&input.plan.site)),
        kind: match input.plan.visit {
            None => "Replacement of an aspirating smoke detector",
            Some(_) => "Service visit to an aspirating smoke detector",
        },
        site: clean(&input.plan.site),
        when: Clock::of(input.record).span(input.record),
        verdict,
        because: short(&first::because(input, verdict)),
        loud: cut(loud.collect(), |more| Loud::new("AND", format!("{more} more lines like these, see the report."))),
        done: done(input),
        facts: facts(input),
        pipes: input.pipes.iter().map(|pipe| row(input, pipe)).collect(),
        drawing: drawing(input),
        rests: rests(input),
        right: cut(right(input), |more| format!("and {more} more, see the report")),
        open: cut(open(input), |more| format!("and {more} more, see the report")),
        missed: short(&first::could_have_missed(o).first().cloned().unwrap_or_default()),
        code: Digest::parse(&input.digests.journal_head).map_or_else(words::dash, |head| code::of(&head)),
        tool: format!("plumeline {}", clean(input.tool)),
        caveat: rules::CAVEAT,
        word,
    };
    Ok(page.render()?)
}

fn short(text: &str) -> String {
    let text = clean(text);
    match text.char_indices().nth(WIDE) {
        Some((at, _)) => format!("{}… (see the report)", &text[..at]),
        None => text,
    }
}

fn cut<T>(mut all: Vec<T>, more: impl FnOnce(usize) -> T) -> Vec<T> {
    if all.len() > SHOWN {
        let left = all.len() - SHOWN + 1;
        all.truncate(SHOWN - 1);
        all.push(more(left));
    }
    all
}

fn done(input: &ReportInput<'_>) -> String {
    let o = input.outcome;
    let ran: Vec<String> = o
        .stages
        .iter()
        .filter(|s| s.put_right.is_none())
        .map(|s| format!("{}{}", s.stage.title().to_lowercase(), if s.complete { "" } else { " (not to its end)" }))
        .collect();
    let not = o.not_done.iter().filter(|(stage, _)| stage.is_needed()).map(|(s, _)| s.title().to_lowercase());
    let not: Vec<String> = not.collect();
    let not = if not.is_empty() { String::new() } else { format!(" Not done: {}.", not.join("; ")) };
    format!("Done: {}.{not}", ran.join("; "))
}

fn facts(input: &ReportInput<'_>) -> Vec<(&'static str, String)> {
    let (o, plan) = (input.outcome, input.plan);
    let unit = |unit: Option<&Identity>| {
        unit.map_or_else(
            || "not identified".to_owned(),
            |u| short(&format!("{} {}, serial {}, firmware {}", u.maker, u.model, u.serial, u.firmware)),
        )
    };
    let out = o.out_of_service_s.map_or_else(
        || "not in this record".to_owned(),
        |s| format!("{} (limit {})", words::duration(s), words::limit(&plan.limits.out_of_service)),
    );
    let replacement = unit(o.replacement.as_ref());
    let units = match plan.visit {
        None => vec![("Outgoing unit", unit(o.outgoing.as_ref())), ("Replacement", replacement)],
        Some(_) => vec![("Unit", replacement), ("Service visit", VISIT.to_owned())],
    };
    [("Technician", short(&plan.technician))].into_iter().chain(units).chain([("Out of service", out)]).collect()
}

/// The holes of a pipe that were shown to draw, and whether each stands.
fn hole_verdict(input: &ReportInput<'_>, inlet: u8, number: u32) -> Option<Verdict> {
    let found = input.outcome.findings.iter().filter(|f| f.stands() && f.stage == StageKind::ProveFlow);
    let of_hole = found.filter(|f| f.subject == Subject::Hole(inlet, number)).map(|f| f.counts_as());
    of_hole.reduce(Verdict::and)
}

fn row(input: &ReportInput<'_>, pipe: &PipeFacts) -> [String; 6] {
    let o = input.outcome;
    let flow = o.pipes.iter().find(|p| p.inlet == pipe.inlet);
    let drawn =
        pipe.openings.iter().filter(|h| hole_verdict(input, pipe.inlet, h.number) == Some(Verdict::Pass)).count();
    let runs =
        o.smoke.iter().filter(|r| r.inlet == pipe.inlet && r.set_aside.is_none()).filter_map(|r| r.onset.as_ref());
    let slowest = runs.max_by(|a, b| a.value.total_cmp(&b.value));
    let group = standings(o, [pipe.inlet]).into_iter().find(|s| s.group == crate::standing::Group::Pipe(pipe.inlet));
    [
        pipe.inlet.to_string(),
        words::figure_or_dash(flow.and_then(|p| p.measured.as_ref())),
        words::figure_or_dash(flow.map(|p| &p.predicted)),
        format!("{drawn} of {}", pipe.openings.len()),
        slowest.map_or_else(words::dash, |t| {
            format!("{} (limit {})", words::figure(t), words::limit(&input.plan.limits.transport))
        }),
        group.map_or(Verdict::Undecided, |g| g.verdict).word().to_owned(),
    ]
}

fn rests(input: &ReportInput<'_>) -> String {
    let by = shown_by(input.outcome).map_or_else(String::new, |by| format!("{} ", by.words()));
    let changed = plumeline_procedure::rules::used(input.plan).iter().filter(|used| used.changed).count();
    short(&format!("{by}{changed} limits or rules were set for this job; the report lists each with its source."))
}

fn right(input: &ReportInput<'_>) -> Vec<String> {
    let line = |(f, what): (&plumeline_procedure::Finding, &str)| {
        short(&format!("{}: {}. Put right: {what}", words::subject(&f.subject), f.says))
    };
    put_right(input.outcome).map(line).collect()
}

fn open(input: &ReportInput<'_>) -> Vec<String> {
    let of = standings(input.outcome, input.pipes.iter().map(|p| p.inlet));
    let each = of.iter().flat_map(|s| s.findings.iter().copied()).filter(|f| !f.counts_as().is_pass());
    each.map(|f| {
        let next = f.next.as_deref().map_or_else(String::new, |next| format!(". Next: {next}"));
        short(&format!("{}: {}{next}", words::subject(&f.subject), f.says))
    })
    .collect()
}

/// The pipes from the unit outward, not to scale: a ring where a hole was shown to draw, a cross where it was not.
fn drawing(input: &ReportInput<'_>) -> String {
    let (left, right, apart) = (40.0, 690.0, 26.0);
    let pipes = &input.pipes[..input.pipes.len().min(DRAWN)];
    let high = apart * pipes.len() as f64 + 12.0;
    let mut svg = format!(
        "<svg viewBox=\"0 0 700 {high}\" role=\"img\"><title>Pipes and holes: a ring was shown to draw, a cross was not</title>\
         <rect x=\"4\" y=\"4\" width=\"26\" height=\"{}\" fill=\"none\" stroke=\"#000\"/>",
        high - 8.0
    );
    for (k, pipe) in pipes.iter().enumerate() {
        let y = apart * k as f64 + 19.0;
        svg += &format!("<text x=\"13\" y=\"{}\" font-size=\"11\">{}</text>", y + 4.0, pipe.inlet);
        svg += &format!("<path d=\"M30 {y}H{right}\" stroke=\"#000\"/>");
        let step = (right - left) / pipe.openings.len().max(1) as f64;
        for (n, hole) in pipe.openings.iter().enumerate() {
            let x = left + step * (n as f64 + 1.0) - 6.0;
            svg += &match hole_verdict(input, pipe.inlet, hole.number) {
                Some(Verdict::Pass) => {
                    format!("<circle cx=\"{x:.1}\" cy=\"{y}\" r=\"4\" fill=\"#fff\" stroke=\"#000\"/>")
                }
                _ => format!(
                    "<path d=\"M{:.1} {}l8 8m0 -8l-8 8\" stroke=\"#000\" stroke-width=\"2\"/>",
                    x - 4.0,
                    y - 4.0
                ),
            };
        }
    }
    svg + "</svg>"
}
