//! The result for terminals: what it hangs on first, then a table, then what to do next.
use crate::{
    shown_by,
    standing::{Group, cautions, loud, put_right, shown_verdict, standings},
    words::{self, capital, clean},
};
use plumeline_base::Verdict;
use plumeline_procedure::outcome::{Finding, Outcome, PipeFlow};

/// Narrowest width that is written for, characters.
const NARROWEST: usize = 40;
/// Findings shown of each group.
const SHOWN: usize = 3;

/// Plain text, at most `width` characters a line (never narrower than 40), no colour codes and no control characters,
/// ending with a line feed.
pub fn text(outcome: &Outcome, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut out = String::new();
    let verdict = shown_verdict(outcome);
    wrap(&mut out, &headline(outcome, verdict), 0, width);
    wrap(&mut out, &capital(&clean(&outcome.because)), 0, width);
    if let Some(by) = shown_by(outcome) {
        wrap(&mut out, &by.words(), 0, width);
    }
    let lines = loud(outcome);
    if !lines.is_empty() {
        out.push('\n');
    }
    for l in &lines {
        wrap(&mut out, &format!("! {}: {}", l.word, l.text), 2, width);
    }
    let rows = rows(outcome);
    if !rows.is_empty() {
        out.push('\n');
        table(&mut out, &rows, width);
    }
    next_steps(&mut out, outcome, width);
    out.push('\n');
    if let Some(by) = shown_by(outcome).filter(|by| by.attested > 0) {
        wrap(&mut out, "Attested, with nothing read:", 0, width);
        by.attested_lines().iter().for_each(|item| wrap(&mut out, &format!("- {item}"), 2, width));
        out.push('\n');
    }
    if put_right(outcome).next().is_some() {
        wrap(&mut out, "Found and put right:", 0, width);
        for (f, what) in put_right(outcome) {
            let line = format!(
                "- {}, {}: {}. Put right: {}",
                words::subject(&f.subject),
                f.stage,
                clean(&f.says),
                clean(what)
            );
            wrap(&mut out, &line, 2, width);
        }
        out.push('\n');
    }
    if outcome.could_have_missed.is_empty() {
        wrap(&mut out, "The smallest defect that could have been missed is not stated: any may have been.", 0, width);
    } else {
        wrap(&mut out, "Smallest defect that could have been missed:", 0, width);
        for s in &outcome.could_have_missed {
            wrap(&mut out, &format!("- {}", clean(&s.says)), 2, width);
        }
    }
    out.push('\n');
    wrap(&mut out, "Local codes, the listing of the unit and a licensed person decide.", 0, width);
    out
}

/// The verdict, and beside it that it is of no real site.
pub(crate) fn headline(outcome: &Outcome, verdict: Verdict) -> String {
    let cautions: Vec<&str> = cautions(outcome).iter().map(|loud| loud.word).collect();
    let beside = if cautions.is_empty() { String::new() } else { format!(" ({})", cautions.join(", ")) };
    format!("{}{beside}", words::verdict(verdict))
}

type Row = [String; 4];

fn rows(outcome: &Outcome) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let figure = words::figure_or_dash;
    for s in standings(outcome, []) {
        let flow = |inlet: u8| outcome.pipes.iter().find(|p: &&PipeFlow| p.inlet == inlet);
        match (s.group, s.verdict) {
            (Group::Pipe(inlet), Verdict::Pass) => {
                let flow = flow(inlet);
                rows.push([
                    s.group.words(),
                    "pass".to_owned(),
                    figure(flow.and_then(|p| p.measured.as_ref())),
                    figure(flow.map(|p| &p.predicted)),
                ]);
            }
            (_, Verdict::Pass) => {}
            _ => {
                let open: Vec<&Finding> = s.findings.iter().copied().filter(|f| !f.counts_as().is_pass()).collect();
                for f in open.iter().take(SHOWN) {
                    rows.push([
                        format!("{} at {}", words::subject(&f.subject), f.stage),
                        f.counts_as().word().to_owned(),
                        figure(f.measured.as_ref()),
                        figure(f.expected.as_ref()),
                    ]);
                }
                if open.is_empty() {
                    let measured = match s.group {
                        Group::Pipe(inlet) => flow(inlet).and_then(|p| p.measured.as_ref()),
                        _ => None,
                    };
                    let measured = measured.map_or_else(|| "not measured".to_owned(), words::figure);
                    rows.push([s.group.words(), "undecided".to_owned(), measured, words::dash()]);
                }
            }
        }
    }
    rows
}

/// The rows in columns, or one below another where the width does not suffice.
fn table(out: &mut String, rows: &[Row], width: usize) {
    let head: Row = ["About", "Verdict", "Measured", "Expected"].map(str::to_owned);
    let chars = |s: &String| s.chars().count();
    let mut widths = [0; 4];
    for row in rows.iter().chain([&head]) {
        for (w, cell) in widths.iter_mut().zip(row) {
            *w = chars(cell).max(*w);
        }
    }
    let fits = widths.iter().sum::<usize>() + 6 <= width;
    for row in [&head].into_iter().filter(|_| fits).chain(rows) {
        if fits {
            let padded = row.iter().zip(widths).map(|(cell, w)| format!("{cell}{}", " ".repeat(w - chars(cell))));
            let line = padded.collect::<Vec<_>>().join("  ");
            out.push_str(line.trim_end());
            out.push('\n');
        } else {
            let [what, verdict, measured, expected] = row;
            wrap(out, &format!("{what}: {verdict}; measured {measured}; expected {expected}"), 2, width);
        }
    }
}

/// What to do next, each step once, the worst first.
fn next_steps(out: &mut String, outcome: &Outcome, width: usize) {
    let mut steps: Vec<String> = Vec::new();
    for s in standings(outcome, []) {
        for f in s.findings.iter().filter(|f| !f.counts_as().is_pass()) {
            let Some(next) = &f.next else { continue };
            let likely = f.likely.as_ref().map_or_else(String::new, |l| format!(" Most likely: {}.", clean(l)));
            let step = format!("{}: {}.{likely} Next: {}.", words::subject(&f.subject), clean(&f.says), clean(next));
            if !steps.contains(&step) {
                steps.push(step);
            }
        }
    }
    if steps.is_empty() {
        return;
    }
    out.push('\n');
    wrap(out, "What to do next, the worst first:", 0, width);
    let more = steps.len().saturating_sub(8);
    for (k, step) in steps.iter().take(8).enumerate() {
        wrap(out, &format!("{}. {step}", k + 1), 3, width);
    }
    if more > 0 {
        wrap(out, &format!("and {more} more, see the report"), 0, width);
    }
}

/// Appends `s` in lines of at most `width` characters, the later ones indented; longer words are cut.
fn wrap(out: &mut String, s: &str, indent: usize, width: usize) {
    let mut used = 0;
    let mut line_start = true;
    for word in s.split_whitespace() {
        let mut word: Vec<char> = word.chars().collect();
        if !line_start && used + 1 + word.len() > width {
            newline(out, indent, &mut used);
            line_start = true;
        }
        if !line_start {
            out.push(' ');
            used += 1;
        }
        while used + word.len() > width {
            let rest = word.split_off(width - used);
            out.extend(word);
            newline(out, indent, &mut used);
            word = rest;
        }
        used += word.len();
        out.extend(word);
        line_start = false;
    }
    out.push('\n');
}

fn newline(out: &mut String, indent: usize, used: &mut usize) {
    out.push('\n');
    out.extend(core::iter::repeat_n(' ', indent));
    *used = indent;
}
