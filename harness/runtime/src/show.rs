//! What a person sees while a job runs: stages, findings, prompts, one live line. Plain text, readable piped.
mod json_lines;
pub use json_lines::JsonLines;

use crate::{failure::Failure, session::Outward};
use indicatif::{ProgressBar, ProgressStyle};
use plumeline_base::{
    Instant, Verdict,
    input::LineId,
    obscuration::{Extinction, ObscurationUnit},
    text::{visible, visible_line},
};
use plumeline_detector::{Reading, vocabulary::FlowBasis};
use plumeline_procedure::{Act, Entry, Finding, Progress, Prompt, STARTED_AGAIN};
use std::{
    io::{IsTerminal, Write, stderr, stdout},
    sync::atomic::{AtomicBool, Ordering},
    time::Duration,
};

/// Shows what happens.
pub trait Show {
    /// Something happened at `now`.
    fn show(&mut self, now: Instant, what: &Outward);
    /// Says something to the person at the terminal, whatever else is shown.
    fn say(&mut self, text: &str) {
        print_result(text);
    }
    /// Nothing happened, but time went on: what runs is shown. `waits` is a question that waits for an answer.
    fn tick(&mut self, _now: Instant, _waits: Option<&Prompt>) {}
    /// The job was taken up again with the zone out of service since then, and how long that may be, s.
    fn out_of_service(&mut self, _since: Instant, _limit_s: f64) {}
    /// A line was typed.
    fn typed(&mut self, _line: &str) {}
    /// It keeps a part of the terminal to itself, which is given back while the program is stopped.
    fn holds_terminal(&self) -> bool {
        false
    }
    /// The terminal is given back, or taken again.
    fn set_aside(&mut self, _aside: bool) {}
}

/// The time since the zone was isolated, with its limit. It runs beside whatever else is shown until the zone is back.
#[derive(Clone, Copy)]
struct OutOfService {
    since: Instant,
    limit_s: f64,
}
impl OutOfService {
    fn follow(clock: &mut Option<Self>, now: Instant, entry: &Entry) {
        match entry {
            Entry::OutOfService { limit_s } => *clock = Some(Self { since: now, limit_s: *limit_s }),
            Entry::BackInService { .. } | Entry::Ended { .. } | Entry::TakenBack { of: Act::Isolate, .. } => {
                *clock = None
            }
            _ => {}
        }
    }
    fn seconds(self, now: Instant) -> f64 {
        now.since(self.since).as_secs_f64()
    }
    fn words(self, now: Instant) -> String {
        let of = |s: f64| clock(Instant::START + Duration::from_secs(s as u64));
        let over = if self.seconds(now) > self.limit_s { ": OVER THE LIMIT" } else { "" };
        format!("out of service {} of {}{over}", of(self.seconds(now)), of(self.limit_s))
    }
}

impl<T: Show + ?Sized> Show for Box<T> {
    fn show(&mut self, now: Instant, what: &Outward) {
        (**self).show(now, what);
    }
    fn say(&mut self, text: &str) {
        (**self).say(text);
    }
    fn tick(&mut self, now: Instant, waits: Option<&Prompt>) {
        (**self).tick(now, waits);
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        (**self).out_of_service(since, limit_s);
    }
    fn typed(&mut self, line: &str) {
        (**self).typed(line);
    }
    fn holds_terminal(&self) -> bool {
        (**self).holds_terminal()
    }
    fn set_aside(&mut self, aside: bool) {
        (**self).set_aside(aside);
    }
}

/// Shows nothing.
pub struct Quiet;
impl Show for Quiet {
    fn show(&mut self, _: Instant, _: &Outward) {}
}

/// Shows only what is asked, to somebody at this terminal who answers.
pub struct OnlyAsks;
impl Show for OnlyAsks {
    fn show(&mut self, _: Instant, what: &Outward) {
        if let Outward::Ask(p) = what {
            for text in prompt_words(p) {
                print_result(&visible_line(&text));
            }
        }
    }
}

/// What shows a job: JSON if asked for, little with `--quiet`, words otherwise. `prompts`: somebody at this terminal answers.
pub fn of_job(json: bool, prompts: bool) -> Box<dyn Show> {
    match (json, is_quiet()) {
        (true, _) => Box::new(JsonLines::default()),
        (false, true) if prompts => Box::new(OnlyAsks),
        (false, true) => Box::new(Quiet),
        (false, false) => Box::new(Words::new(prompts)),
    }
}

/// Where nobody looks at a terminal, a line so often.
const PIPED: Duration = Duration::from_secs(60);

/// Words for a person.
pub struct Words {
    live: ProgressBar,
    /// What runs is shown elsewhere: here are only lines that stay.
    beside: bool,
    /// Where lines go: what comes here is fit to be shown.
    write: Box<dyn Fn(&str)>,
    /// Prompts are shown; false where a script answers.
    prompts: bool,
    colour: bool,
    began: Option<Instant>,
    out: Option<OutOfService>,
    last_told: Option<Instant>,
    air: Air,
    down: Option<Down>,
    doing: String,
    /// The kind and the next step of the finding that was told last: findings of one cause are told together.
    cause: Option<(String, Option<String>)>,
}

/// A link that is not there, and how often it was tried.
struct Down {
    why: String,
    tries: u32,
}

/// What the air last did, as long as it is fresh.
#[derive(Default)]
struct Air {
    at: Option<Instant>,
    words: String,
    /// Inlets that drew at some time: one that is shut shows its zero, one that carries no pipe shows nothing.
    drew: Vec<bool>,
}
/// A reading that is older is not shown.
const FRESH: Duration = Duration::from_secs(5);
impl Air {
    fn read(&mut self, now: Instant, r: &Reading, basis: FlowBasis) {
        let (unit, size) = basis.unit();
        self.drew.resize(self.drew.len().max(r.flow_m3_s.len()), false);
        let mut flows = Vec::new();
        for (q, drew) in r.flow_m3_s.iter().zip(&mut self.drew) {
            *drew |= q.is_some_and(|q| q != 0.0);
            flows.extend(q.filter(|_| *drew).map(|q| format!("{:.1}", q / size)));
        }
        let flows = (!flows.is_empty()).then(|| format!("{} {unit}", flows.join(" ")));
        let smoke = r.extinction_per_m.iter().flatten().copied().reduce(f64::max);
        let smoke = smoke.map(|k| format!("{:.3} %/m", Extinction(k).stated(ObscurationUnit::PercentPerMetre)));
        (self.at, self.words) = (Some(now), flows.into_iter().chain(smoke).collect::<Vec<_>>().join("  "));
    }
    fn words(&self, now: Instant) -> Option<String> {
        self.at.filter(|at| now.since(*at) <= FRESH && !self.words.is_empty()).map(|_| self.words.clone())
    }
}

impl Words {
    /// `prompts`: somebody at this terminal answers.
    pub fn new(prompts: bool) -> Self {
        Self::to(Box::new(print_raw), prompts)
    }
    /// Only lines that stay, each to this: what runs is shown beside them.
    pub fn beside(write: Box<dyn Fn(&str)>, prompts: bool) -> Self {
        Self { live: ProgressBar::hidden(), beside: true, ..Self::to(write, prompts) }
    }
    /// The same, each line to this.
    pub fn to(write: Box<dyn Fn(&str)>, prompts: bool) -> Self {
        let live = if stdout().is_terminal() { ProgressBar::new_spinner() } else { ProgressBar::hidden() };
        if let Ok(style) = ProgressStyle::with_template("{msg}") {
            live.set_style(style);
        }
        Self {
            live,
            beside: false,
            write,
            prompts,
            colour: colour_on(&stdout()),
            began: None,
            out: None,
            last_told: None,
            air: Air::default(),
            down: None,
            doing: String::new(),
            cause: None,
        }
    }
    /// A line, folded between words to the width of the terminal; whole where nobody looks at a terminal.
    fn put(&self, text: &str) {
        self.put_judged(None, text);
    }
    /// The same, with the verdict's word in `{verdict}`'s place in its colour.
    fn put_judged(&self, verdict: Option<Verdict>, text: &str) {
        let text = visible_line(text);
        let folded = match columns() {
            Some(width) => {
                // What goes on stands under where the words began, not under the margin.
                let margin = text.len() - text.trim_start().len();
                let indent = " ".repeat(margin + if margin == 4 { 11 } else { 4 });
                textwrap::fill(&text, textwrap::Options::new(width).subsequent_indent(&indent))
            }
            None => text.into_owned(),
        };
        let painted = match verdict {
            Some(v) if self.colour => folded.replacen(&v.to_string(), &paint(v), 1),
            _ => folded,
        };
        self.live.suspend(|| (self.write)(&painted));
    }
    fn finding(&mut self, f: &Finding) {
        let verdict = f.counts_as();
        self.put_judged(Some(verdict), &format!("    {verdict:<9}  {}: {}", f.subject, f.says));
        if let Some(m) = &f.measured {
            let mut figures = format!("measured {m}");
            if let Some(e) = &f.expected {
                figures.push_str(&format!(", expected {e}"));
            }
            if let Some(d) = &f.decision {
                figures.push_str(&format!(", conforms with probability {:.4}", d.conformity));
            }
            self.put(&format!("               {figures}"));
        }
        // What several findings have in common is told once.
        let cause = (f.code.to_string(), f.next.clone());
        if f.counts_as() != Verdict::Pass && self.cause.as_ref() != Some(&cause) {
            self.cause = Some(cause);
            for (label, text) in [("likely", &f.likely), ("next", &f.next)] {
                if let Some(text) = text {
                    self.put(&format!("               {label}: {text}"));
                }
            }
        }
    }
    fn note(&mut self, now: Instant, entry: &Entry) {
        match entry {
            Entry::StageBegan { stage } => {
                self.began = Some(now);
                self.cause = None;
                self.doing = format!("{stage}");
                self.put(&format!("{}  {stage}", clock(now)));
            }
            Entry::Answered { .. } => self.doing.clear(),
            Entry::StageEnded(r) => {
                self.doing.clear();
                let took = r.ended.since(r.began).as_secs_f64();
                let because = r.because.as_ref().map(|b| format!(" ({b})")).unwrap_or_default();
                let line = format!("    {:<9}  {} after {took:.0} s{because}", r.verdict, r.stage);
                self.put_judged(Some(r.verdict), &line);
            }
            Entry::Found(f) => self.finding(f),
            Entry::Remark { text } => self.put(&format!("    note       {text}")),
            Entry::LinkUp { line, link } => {
                self.down = None;
                self.put(&format!("    link       open{}: {link}", whose(*line)));
            }
            // No trouble of the line's: nobody has anything to look at.
            Entry::LinkDown { detail, .. } if detail == STARTED_AGAIN => {
                self.put(&format!("    link       {detail}: it is opened again"));
            }
            Entry::LinkDown { line, cause, detail } => {
                let why = format!("{cause}{}", whose(*line));
                // The same once more is one line: the one that runs.
                if let Some(down) = self.down.as_mut().filter(|d| d.why == why) {
                    down.tries += 1;
                    return;
                }
                self.down = Some(Down { why, tries: 1 });
                self.put(&format!("    link       {cause}{} ({detail})", whose(*line)));
                self.put(&format!("               next: {}", cause.remedy()));
            }
            Entry::Line { trouble } => {
                self.down = Some(Down { why: trouble.to_string(), tries: 1 });
                self.put(&format!("    link       {trouble}"));
                self.put(&format!("               next: {}", trouble.remedy()));
            }
            Entry::TakenBack { prompt, .. } => {
                self.put(&format!("    back       the answer to [{prompt}] is taken back"))
            }
            Entry::Seen { of } => self.put(&format!("    seen       {}", seen(of))),
            Entry::PutRight { stages, what } => {
                let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
                self.put(&format!("    put right  {what}; proven again: {}", stages.join(", ")));
            }
            Entry::LineBack => {
                self.down = None;
                self.put("    link       the unit answers again");
            }
            Entry::StartedAnew { .. } => self.put("    unit       started anew"),
            Entry::Void { because, stages } => {
                let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
                self.put(&format!("    void       {}: {because}", stages.join(", ")));
            }
            _ => {}
        }
    }
    fn prompt(&self, now: Instant, p: &Prompt) {
        if let Some(out) = self.out {
            self.put(&format!("    clock      {}", out.words(now)));
        }
        for text in prompt_words(p) {
            self.put(&text);
        }
    }
    fn progress(&mut self, now: Instant, p: &Progress) {
        if p.stays {
            return self.put(&format!("    seen       {}", p.says));
        }
        let out = self.out.map(|o| format!("  {}", o.words(now))).unwrap_or_default();
        let share = p.fraction.map(|f| format!(" {:.0} %", f * 100.0)).unwrap_or_default();
        let left = p.left_s.map(|s| format!(", {s:.0} s left")).unwrap_or_default();
        // Where there is little room, what is left to wait matters more than what for.
        self.doing = format!(
            "{}{}: {}{share}",
            left.replacen(", ", "", 1) + if left.is_empty() { "" } else { "  " },
            p.stage,
            p.says
        );
        if self.live.is_hidden() {
            // Piped: a line now and then, so that a reader sees that things go on.
            if !self.beside && self.last_told.is_none_or(|t| now.since(t) >= PIPED) {
                self.last_told = Some(now);
                (self.write)(&format!("    ...        {}{share}{left}{out}", visible_line(&p.says)));
            }
        } else {
            self.line(now);
        }
    }
    /// The line that runs: first what must never be cut off, then what goes on, in the width that there is.
    fn line(&self, now: Instant) {
        let out = self.out.map(|o| o.words(now));
        let down = self.down.as_ref().map(|d| match d.tries {
            1 => format!("NO LINK ({})", d.why),
            n => format!("NO LINK ({}; tried {n} times)", d.why),
        });
        let air = self.air.words(now).filter(|_| down.is_none());
        // The job's own time stands beside what was noted; here the other clock matters more.
        let time = out.is_none().then(|| clock(now));
        let first: Vec<String> = [time, out, down, air].into_iter().flatten().collect();
        let parts = [first.join("  "), self.doing.clone()].map(|part| visible_line(&part).into_owned());
        self.live.set_message(lines_that_run(&parts, columns().unwrap_or(80)));
        self.live.tick();
    }
}
impl Show for Words {
    fn tick(&mut self, now: Instant, waits: Option<&Prompt>) {
        if self.live.is_hidden() {
            // Piped: a line now and then.
            if let Some(out) = self.out.filter(|_| !self.beside && self.last_told.is_none_or(|t| now.since(t) >= PIPED))
            {
                self.last_told = Some(now);
                (self.write)(&format!("    clock      {}", out.words(now)));
            }
            return;
        }
        if let Some(p) = waits.filter(|p| p.wants_answer()) {
            self.doing = waits_for(p);
        }
        self.line(now);
    }
    fn out_of_service(&mut self, since: Instant, limit_s: f64) {
        self.out = Some(OutOfService { since, limit_s });
    }
    fn show(&mut self, now: Instant, what: &Outward) {
        match what {
            Outward::Note(entry) => {
                OutOfService::follow(&mut self.out, now, entry);
                self.note(now, entry);
            }
            Outward::Ask(p) if self.prompts => {
                // What is only told waits for nobody: what goes on is shown beside it.
                if p.wants_answer() {
                    self.doing = waits_for(p);
                }
                self.prompt(now, p);
            }
            Outward::Progress(p) => self.progress(now, p),
            Outward::Reading(reading, basis) => {
                // What comes is not gone, whatever was noted of the line.
                self.down = None;
                self.air.read(now, reading, *basis);
            }
            Outward::Done(_) => return self.live.finish_and_clear(),
            _ => {}
        }
        // What was going on a moment ago does not stay on the screen.
        if matches!(what, Outward::Note(_) | Outward::Ask(_)) && !self.live.is_hidden() {
            self.line(now);
        }
    }
    fn say(&mut self, text: &str) {
        text.lines().for_each(|line| self.put(line));
    }
}

/// Columns of the terminal as it is now; `None` where nobody looks at one.
fn columns() -> Option<usize> {
    terminal_size::terminal_size_of(stdout()).map(|(w, _)| usize::from(w.0).max(40))
}

/// One line where both parts fit into it, else each folded to the width: nothing is cut off.
fn lines_that_run(parts: &[String; 2], columns: usize) -> String {
    let line = parts.iter().filter(|p| !p.is_empty()).map(String::as_str).collect::<Vec<_>>().join("  ");
    if line.chars().count() <= columns {
        return line;
    }
    parts.iter().flat_map(|part| textwrap::wrap(part, columns)).collect::<Vec<_>>().join("\n")
}

/// What the live line says while a question waits.
fn waits_for(p: &Prompt) -> String {
    format!("[{}] waits", p.id)
}

fn whose(line: LineId) -> &'static str {
    match line {
        LineId::Main => "",
        LineId::Outgoing => ", to the outgoing unit",
    }
}

fn prompt_words(p: &Prompt) -> Vec<String> {
    let back = p.back.map(|id| format!("; or: back (takes the answer to [{id}] back)")).unwrap_or_default();
    let (first, more) = p.text.split_once('\n').unwrap_or((&p.text, ""));
    let more = more.lines().map(|line| format!("        {line}"));
    let last = format!("        {}{back}", how_to_answer(p));
    [format!("  ? [{}] {first}", p.id)].into_iter().chain(more).chain([last]).collect()
}

/// What the unit's readings showed of what was asked for.
fn seen(of: &Act) -> String {
    match of {
        Act::OpenHole(hole) => format!("hole {} of pipe {} is open again: its flow is back", hole.number, hole.inlet),
        Act::SwitchSupply { supply, .. } => format!("the {} is on again: the unit's fault has cleared", supply.words()),
        other => format!("{}: done", other.name()),
    }
}

/// What to type as an answer.
pub fn how_to_answer(p: &Prompt) -> String {
    use plumeline_detector::driver::Wants;
    match &p.wants {
        Wants::Done => "press Enter when done, or type: no, REASON".into(),
        Wants::YesNo => "type yes, or: no, REASON".into(),
        Wants::Notice => "nothing to type, unless: no, REASON".into(),
        Wants::Numbers { of } => crate::operator::keyboard::numbers_to_type(of),
        Wants::Moment => "press Enter at that moment, or type: no, REASON".into(),
        Wants::Number { unit } => format!("type the number in {unit}, or: no, REASON"),
        Wants::Text => "type your answer, or: no".into(),
        Wants::ClockTime => "type the time, press Enter when the clock shows it; or: can't, REASON".into(),
        Wants::LoggerFile => {
            "type the file's path, and behind it what it doesn't say itself (; column NAME ; dates day-first); or: can't, REASON".into()
        }
        Wants::OneOf { words } => format!("type {}", crate::operator::keyboard::words_to_type(words)),
        Wants::Tick => crate::operator::keyboard::TICK_HELP.into(),
    }
}

/// `h:mm:ss` of log time.
pub fn clock(t: Instant) -> String {
    let s = t.as_micros() / 1_000_000;
    format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// Width that text is laid out for: the terminal's, within what reads well; 100 where nobody looks at one.
pub fn width() -> usize {
    terminal_size::terminal_size_of(stdout()).map_or(100, |(w, _)| usize::from(w.0).clamp(72, 100))
}

/// Colour only on a terminal, and not where NO_COLOR is set.
pub fn colour_on(stream: &impl IsTerminal) -> bool {
    stream.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// A verdict's word in its colour; never told by colour alone.
fn paint(v: Verdict) -> String {
    let code = match v {
        Verdict::Pass => "32",
        Verdict::Undecided => "33",
        Verdict::Fail => "31",
    };
    format!("\x1b[{code}m{v}\x1b[0m")
}

/// Set once, by the command line: standard output is one, and so is whether it is to be quiet.
static QUIET: AtomicBool = AtomicBool::new(false);

/// From now on only results are printed.
pub fn be_quiet() {
    QUIET.store(true, Ordering::Relaxed);
}
/// Are only results printed?
pub fn is_quiet() -> bool {
    QUIET.load(Ordering::Relaxed)
}

/// A line of what goes on, to standard output; nothing with `--quiet`.
pub fn print_progress(text: &str) {
    if !is_quiet() {
        print_result(text);
    }
}

/// A line of what is wrong, to standard error. A terminal that is gone ends nothing either.
pub fn print_trouble(text: &str) {
    let _ = writeln!(stderr(), "{}", visible(text));
}

/// What ended a command, in colour where somebody looks at a terminal. It is made visible where it is put into words.
pub fn print_failure(failure: &Failure) {
    let _ = writeln!(stderr(), "{}", failure.render(colour_on(&stderr())));
}

/// A line of what the command was called for, to standard output.
pub fn print_result(text: &str) {
    print_raw(&visible(text));
}

/// Text that holds nothing but what we wrote and what was made visible. A closed pipe ends nothing: the job matters more than
/// its display.
fn print_raw(text: &str) {
    let _ = writeln!(stdout(), "{text}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_cut_off_that_a_second_line_can_hold() {
        let parts =
            ["out of service 0:31:19 of 4:00:00  44.4 39.7 L/min", "21 s left  settle: pipe 1 is not steady yet"];
        let parts = parts.map(str::to_owned);
        assert_eq!(lines_that_run(&parts, 80), parts.join("\n"));
        assert_eq!(lines_that_run(&parts, 120), parts.join("  "));
        let narrow = lines_that_run(&parts, 20);
        assert!(narrow.lines().all(|line| line.chars().count() <= 20), "{narrow}");
        let words = |text: &str| text.split_whitespace().map(String::from).collect::<Vec<_>>();
        assert_eq!(words(&narrow), words(&parts.join(" ")), "nothing is cut off");
        assert_eq!(lines_that_run(&[String::new(), "[3] waits".into()], 80), "[3] waits");
    }
}
