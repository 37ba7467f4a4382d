//! The page for people: first what the job comes to and what to do next, then everything that it rests on.
mod carried;
mod charts;
mod clock;
mod doc;
mod first;
mod measured;
mod page;
mod rules;
mod work;
mod years;

pub use page::page;

use crate::{
    ReportError,
    input::ReportInput,
    standing::{Loud, shown_verdict},
    text::headline,
    words,
};
use askama::Template;
use doc::{Block, Section, Table};
use plumeline_base::Verdict;

#[derive(Template)]
#[template(path = "report.html")]
struct Page {
    title: String,
    kind: &'static str,
    site: String,
    when: String,
    verdict: Verdict,
    word: String,
    because: String,
    lead: Vec<(&'static str, String)>,
    tool: String,
    loud: Vec<Loud>,
    first: Table,
    sign: Table,
    missed: Vec<String>,
    caveat: &'static str,
    sections: Vec<Section>,
}

/// The report as one self-contained HTML page: no script, nothing loaded from elsewhere.
pub fn html(input: &ReportInput<'_>) -> Result<String, ReportError> {
    let verdict = shown_verdict(input.outcome);
    let clock = clock::Clock::of(input.record);
    // What was shown, what is open, how it was done, and then what all that rests on.
    let mut sections = vec![work::job_section(input, &clock)];
    sections.extend(measured::sections(input, &clock));
    sections.extend(years::sections(input));
    sections.extend(work::sections(input, &clock));
    sections.extend(carried::sections(input));
    sections.extend(rules::sections(input));
    let page = Page {
        title: format!("{} – {}", headline(input.outcome, verdict), words::clean(&input.plan.site)),
        kind: match input.plan.visit {
            None => "Record of bringing a replacement aspirating smoke detector into service",
            Some(_) => "Record of a service visit to an aspirating smoke detector",
        },
        site: words::clean(&input.plan.site),
        when: clock.span(input.record),
        verdict,
        word: headline(input.outcome, verdict),
        because: first::because(input, verdict),
        lead: first::lead(input, verdict),
        tool: words::clean(input.tool),
        loud: first::loud_lines(input),
        first: first::table(input),
        sign: rules::sign(),
        missed: first::could_have_missed(input.outcome),
        caveat: rules::CAVEAT,
        sections,
    };
    Ok(page.render()?)
}
