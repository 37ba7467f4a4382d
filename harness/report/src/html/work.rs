//! Who, what and when: job and units, stages with the flow over time, the checklist, what was not done.
use super::{
    charts,
    clock::Clock,
    doc::{Block, Cell, Section, Table},
};
use crate::{
    input::ReportInput,
    standing,
    words::{self, dash},
};
use plumeline_base::{Verdict, input::Answer};
use plumeline_detector::Identity;
use plumeline_procedure::outcome::{Figure, Finding, Subject};

pub(crate) fn job_section(input: &ReportInput<'_>, clock: &Clock) -> Section {
    Section::new("job", "Job and units", job(input, clock))
}

pub(crate) fn sections(input: &ReportInput<'_>, clock: &Clock) -> Vec<Section> {
    let pages =
        (!input.record.at_pages.is_empty()).then(|| Section::new("pages", "Answered at pages", at_pages(input, clock)));
    let sections = vec![
        Section::new("put-right", "Found and put right", put_right(input)),
        Section::new("not-done", "What was not done", not_done(input)),
        Section::new("stages", "What was done, in order", stages(input, clock)),
        Section::new("checklist", "Work by hand, ticked off", checklist(input)),
        Section::new("supply", "Supply", supply(input)),
    ];
    sections.into_iter().chain(pages).collect()
}

/// Who did what at phones and laptops, each moment by its own clock.
fn at_pages(input: &ReportInput<'_>, clock: &Clock) -> Vec<Block> {
    let mut table = Table::new(
        "Answers that people gave at pages beside the job; a touch counts at its own time, uncertain by the tie of its clock (standard \
         uncertainty)",
        &["Who", "Asked", "Answer", "Touched", "Came"],
    );
    for a in &input.record.at_pages {
        let by = &a.page.by;
        let said = match &a.answer {
            Answer::Yes => "done".to_owned(),
            Answer::No => "no".to_owned(),
            Answer::Number(x) => x.to_string(),
            Answer::Ticked(tick) => tick.state.words().to_owned(),
            Answer::Back => "the answer before is taken back".to_owned(),
            Answer::Later => "later".to_owned(),
            Answer::Cannot(words) | Answer::NoBecause(words) => format!("not so: {words}"),
            Answer::Text(words) => words.clone(),
            Answer::Again(words) => format!("again: {words}"),
        };
        let beside = [a.page.note.clone(), a.page.photo.as_ref().map(|p| p.name.clone())];
        let beside = beside.into_iter().flatten().collect::<Vec<_>>().join("; ");
        let touched = match &a.page.mark {
            Some(mark) => Cell::number(words::log_time(mark.at)).below(format!("± {:.3} s", mark.u_s())),
            None => Cell::text("when it came"),
        };
        table.rows.push(vec![
            Cell::text(by.name.clone()).below(format!("{}, page {}", by.role.words(), by.page)),
            Cell::text(a.asked.clone()),
            Cell::text(said).below(beside),
            touched,
            Cell::number(words::log_time(a.came)).below(clock.time(a.came)),
        ]);
    }
    vec![table.block()]
}

fn unit(identity: Option<&Identity>) -> String {
    identity.map_or_else(
        || "not identified".to_owned(),
        |i| format!("{} {}, serial {}, firmware {}", i.maker, i.model, i.serial, i.firmware),
    )
}

fn job(input: &ReportInput<'_>, clock: &Clock) -> Vec<Block> {
    let (o, plan) = (input.outcome, input.plan);
    let out = o.out_of_service_s.map_or_else(
        || "not taken out of service in this record".to_owned(),
        |s| {
            let l = &plan.limits.out_of_service;
            format!("{} (limit {}, {})", words::duration(s), words::limit(l), l.source)
        },
    );
    let outgoing = match (&plan.outgoing, &o.outgoing) {
        (None, None) => "none named in the plan".to_owned(),
        (_, found) => unit(found.as_ref()),
    };
    let links = if input.record.links.is_empty() { dash() } else { input.record.links.join(", ") };
    let mut tools = input.record.tools.clone();
    tools.dedup();
    let tools = if tools.is_empty() { dash() } else { tools.join(", ") };
    let mut facts = vec![
        ("Site and zone", plan.site.clone()),
        ("Technician", plan.technician.clone()),
        ("When", clock.span(input.record)),
        ("Outgoing unit", outgoing),
        ("Replacement unit", unit(o.replacement.as_ref())),
        ("Out of service", out),
        ("Link to the unit", links),
        ("Recorded with", format!("plumeline {tools}; this page by plumeline {}", input.tool)),
    ];
    if plan.visit.is_some() {
        facts.retain(|(what, _)| *what != "Outgoing unit");
        facts.iter_mut().filter(|(what, _)| *what == "Replacement unit").for_each(|(what, _)| *what = "Unit");
        facts.insert(0, ("Service visit", VISIT.to_owned()));
    }
    if input.plan.invented {
        facts.insert(0, ("Invented", "the site and the units of this record are invented".to_owned()));
    }
    let mut pipes =
        Table::new("The pipes, as the pipework file states them", &["Pipe", "Length", "Openings", "Out of reach"]);
    for p in input.pipes {
        let far: Vec<String> = p.openings.iter().filter(|o| !o.reachable).map(|o| o.number.to_string()).collect();
        let caps = p.openings.iter().filter(|o| o.kind == "end cap").count();
        let holes = p.openings.iter().filter(|o| o.kind == "hole").count();
        let open = p.openings.len() - caps - holes;
        let mut said = vec![format!("{holes} holes")];
        said.extend((caps > 0).then(|| if caps == 1 { "1 end cap".to_owned() } else { format!("{caps} end caps") }));
        said.extend((open > 0).then(|| format!("{open} open ends")));
        pipes.rows.push(vec![
            Cell::text(format!("Pipe {}", p.inlet)),
            Cell::number(format!("{} m", words::number(p.length_m, 1))),
            Cell::text(said.join(", ")),
            Cell::text(if far.is_empty() { "none".to_owned() } else { format!("holes {}", far.join(", ")) }),
        ]);
    }
    let mut blocks = vec![Block::facts(facts)];
    if !pipes.rows.is_empty() {
        blocks.push(pipes.block());
    }
    blocks
}

fn stages(input: &ReportInput<'_>, clock: &Clock) -> Vec<Block> {
    let mut table = Table::new(
        "Stages, with log time (and time of day, where the record knows it)",
        &["Stage", "Result", "Began", "Ended", "Took", "Remark"],
    );
    for (k, s) in input.outcome.stages.iter().enumerate() {
        let verdict = if s.complete { s.verdict } else { s.verdict.and(Verdict::Undecided) };
        let remark = match (&s.because, s.complete) {
            (Some(why), _) => why.clone(),
            (None, false) => "not run to its end".to_owned(),
            (None, true) if !standing::judges(s.stage) => "for comparison only, judges nothing".to_owned(),
            (None, true) => String::new(),
        };
        table.rows.push(vec![
            Cell::text(format!("{} {}", k + 1, s.stage.title())),
            Cell::verdict(verdict),
            Cell::number(words::log_time(s.began)).below(clock.time(s.began)),
            Cell::number(words::log_time(s.ended)).below(clock.time(s.ended)),
            Cell::number(words::duration(s.ended.since(s.began).as_secs_f64())),
            Cell::text(remark),
        ]);
    }
    if table.rows.is_empty() {
        return vec![Block::text("No stage was begun.")];
    }
    let mut blocks = vec![table.block()];
    blocks.extend(charts::whole_job(input));
    let gaps = input.record.line_gaps.iter().map(|(from, to, what)| {
        let length = words::duration(to.since(*from).as_secs_f64());
        format!("{}: no readings for {length}, because {what}", clock.both(*from))
    });
    let voided = input.record.voided.iter().map(|(at, stages, why)| {
        let names: Vec<&str> = stages.iter().map(|s| s.title()).collect();
        format!("{}: made void because {why}: {}", clock.both(*at), names.join(", ").to_lowercase())
    });
    let remarks = input.record.remarks.iter().map(|(at, text)| format!("{}: {text}", clock.both(*at)));
    let notes: Vec<String> = gaps.chain(voided).chain(remarks).collect();
    if !notes.is_empty() {
        blocks.push(Block::text("Noted on the way:"));
        blocks.push(Block::list(notes));
    }
    blocks
}

fn checklist(input: &ReportInput<'_>) -> Vec<Block> {
    if input.plan.checklist.is_empty() {
        return vec![Block::text("The plan has no checklist: nothing of the work by hand was ticked off.")];
    }
    let mut table = Table::new(
        "A person says that this was done; the tool can't see it",
        &["Item", "Stage", "Required", "Answer", "Who", "When", "Note", "Photo"],
    );
    for (item, number) in input.plan.checklist.iter().zip(1u32..) {
        let found = input.outcome.findings.iter().rev().find(|f| f.subject == Subject::Check(number));
        let counts = found.map_or(Verdict::Undecided, Finding::counts_as);
        let open = item.required && !counts.is_pass();
        let ticked = input.outcome.checklist.iter().rev().find(|t| t.item == number);
        let words = match ticked {
            Some(t) => t.state.words(),
            None => "not answered",
        };
        let mut answer = Cell::text(words);
        answer.verdict = open.then_some(counts);
        let mut row = vec![
            Cell::text(format!("{number} {}", item.text)),
            Cell::text(item.stage.title()),
            Cell::text(if item.required { "yes" } else { "no" }),
            answer,
        ];
        match ticked {
            None => row.resize_with(8, || Cell::text("")),
            Some(t) => row.extend([
                Cell::text(t.by.as_deref().unwrap_or("not told")),
                // Broken between date and time, where the column is narrow.
                Cell::number(words::log_time(t.at))
                    .below(t.date.as_deref().unwrap_or("no date in the record").replace('T', " ")),
                Cell::text(t.note.as_deref().unwrap_or_default()),
                t.photo.as_ref().map_or_else(|| Cell::text(""), Cell::photo),
            ]),
        }
        table.rows.push(row);
    }
    vec![table.block()]
}

fn supply(input: &ReportInput<'_>) -> Vec<Block> {
    let s = &input.outcome.supply;
    let rule = s.rule.as_ref().map_or_else(dash, |r| {
        let (standby, alarm) = (words::duration(r.standby_h * 3600.0), words::duration(r.alarm_h * 3600.0));
        format!(
            "{} × (current at standby × {standby} + {} × current in alarm × {alarm}): {} ({})",
            words::shortest(r.margin),
            words::shortest(r.derating),
            r.source,
            r.mark.words()
        )
    });
    let figure = |f: &Option<Figure>| words::figure_or_dash(f.as_ref());
    vec![Block::facts([
        ("Current of the outgoing unit, as found", figure(&s.outgoing)),
        ("Current of the new unit at standby", figure(&s.standby)),
        ("Current with every output in use operated", figure(&s.alarm)),
        ("Voltage under that load, on the mains", figure(&s.mains)),
        ("Voltage on the battery alone", figure(&s.battery)),
        ("Capacity that the battery must have", figure(&s.needed)),
        (
            "Battery fitted, as the plan states it",
            s.fitted_ah.map_or_else(dash, |c| format!("{} Ah", words::shortest(c))),
        ),
        ("Calculated by", rule),
    ])]
}

/// What a service visit is, and what "replacement" then means in this record.
pub(crate) const VISIT: &str =
    "no unit was exchanged: what is called the replacement is the unit that was on the wall and stayed there";

/// What was found, put right and proven again: it no longer counts, and the next person must know of it.
fn put_right(input: &ReportInput<'_>) -> Vec<Block> {
    let line = |(f, what): (&Finding, &str)| {
        format!("{}, {}: {} ({}). Put right: {what}", words::subject(&f.subject), f.stage.title(), f.says, f.verdict)
    };
    let all: Vec<String> = standing::put_right(input.outcome).map(line).collect();
    if all.is_empty() {
        return vec![Block::text("Nothing was put right and proven again.")];
    }
    vec![Block::list(all)]
}

fn not_done(input: &ReportInput<'_>) -> Vec<Block> {
    let o = input.outcome;
    let mut all: Vec<String> = Vec::new();
    for (stage, why) in &o.not_done {
        let note = if stage.is_needed() { "" } else { "; it judges nothing" };
        all.push(format!("{} ({why}{note})", stage.title()));
    }
    for s in o.stages.iter().filter(|s| !s.complete) {
        let why = s.because.as_deref().unwrap_or("no reason in the record");
        all.push(format!("{}: begun, not run to its end ({why})", s.stage.title()));
    }
    for p in input.pipes {
        let open: Vec<String> = super::measured::not_closed(input, p).iter().map(u32::to_string).collect();
        if !open.is_empty() {
            all.push(format!(
                "Pipe {}: openings not closed in turn, not shown to draw one by one: {}",
                p.inlet,
                open.join(", ")
            ));
        }
    }
    if all.is_empty() {
        return vec![Block::text(
            "Every stage was run to its end, and every opening of every pipe was closed in turn.",
        )];
    }
    vec![Block::list(all)]
}
