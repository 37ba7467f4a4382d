//! The pipework as a drawing to print: every run a straight line, every hole with its number, flow and time. Not to scale;
//! lengths are written on.
//!
//! A landscape A4 page wide. A run that is too long for the page goes on in the next row; its branches then stand on lines
//! of their own, referred to by letters.
use super::{
    Predicted, is_closed,
    table::{flow, seconds},
};
use plumeline_airflow::{Place, warnings::Remark};
use plumeline_base::pipework::OpeningKind;
use plumeline_report::svg::{Anchor, Svg};
use plumeline_runtime::runs::{self, Run, Station, What};
use std::collections::BTreeSet;

/// Width of the page, mm.
const PAGE: f64 = 297.0;
/// Columns of stations on a page, their distance and the first one's place, mm.
const COLUMNS: usize = 20;
const COLUMN: f64 = 12.0;
const FIRST: f64 = 51.0;
/// The unit, and where a line begins that comes from another row, mm.
const UNIT: (f64, f64) = (8.0, 14.0);
const FROM_ELSEWHERE: f64 = 41.0;
/// Black on white; widths and text heights in mm.
const STYLE: &str = "svg{font-family:sans-serif}line{stroke:#000;stroke-width:.7}.thin{stroke-width:.4}\
    rect,circle{fill:#fff;stroke:#000;stroke-width:.35}.page{stroke:none}.unit,.cross{stroke-width:.5}.full{fill:#000}\
    text{font-size:3px}.title{font-size:4.5px}.small{font-size:2.5px}.title,.strong{font-weight:bold}";
/// Length of a drop tube on paper, mm.
const DROP: f64 = 7.0;
const DOT: f64 = 1.1;

/// The drawing as an SVG document.
pub fn svg(p: &Predicted) -> String {
    let mut d = Drawing {
        p,
        svg: Svg::new(2),
        y: 0.0,
        letters: 0,
        remarked: p.warnings.iter().filter_map(|w| remarked(w.place, &w.what)).collect(),
    };
    d.header();
    let mut inlets = Vec::new();
    for (i, run) in runs::runs(p.pipework(), &p.forest) {
        inlets.push(d.inlet(i, &run));
    }
    d.unit(&inlets);
    d.legend();
    d.places();
    let says = "Pipes, holes, flows and transport times of the sampling pipework, as plumeline predict tells them.";
    d.svg.document(PAGE, d.y + 6.0, &p.pipework().name, says, STYLE)
}

fn remarked(place: Place, what: &Remark) -> Option<usize> {
    match (place, what) {
        (Place::Opening(k), Remark::Backflow(_) | Remark::Starved(_) | Remark::Slow(_)) => Some(k),
        _ => None,
    }
}

struct Drawing<'a> {
    p: &'a Predicted,
    svg: Svg,
    /// Everything above is drawn, mm.
    y: f64,
    /// Letters given to branches so far.
    letters: usize,
    /// Openings that a warning is about.
    remarked: BTreeSet<usize>,
}

/// Where a run begins.
#[derive(Clone)]
enum From {
    /// The unit, with what the pipe is called and what it draws.
    Unit(String, String),
    /// A tee at this place.
    Tee(f64, f64),
    /// Another row, with what says which.
    Elsewhere(String),
}

fn column(i: usize) -> f64 {
    FIRST + COLUMN * i as f64
}
fn length(m: f64) -> String {
    // No more decimals than needed, at most centimetres.
    if m < 0.995 { format!("{:.0} cm", m * 100.0) } else { format!("{} m", (m * 100.0).round() / 100.0) }
}
/// A, B, ... Z, AA, AB, ...
fn letter(n: usize) -> String {
    let last = char::from(b'A' + (n % 26) as u8);
    if n < 26 { last.into() } else { format!("{}{last}", letter(n / 26 - 1)) }
}
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most { text.into() } else { text.chars().take(most - 1).chain(['…']).collect() }
}

impl Drawing<'_> {
    fn header(&mut self) {
        self.svg.text("title", UNIT.0, 12.0, Anchor::Start, &cut(&self.p.pipework().name, 100));
        let air = self.p.solution.air.density;
        let total = flow(self.p.prediction.total_flow_m3_s.value);
        let says = format!(
            "Predicted: {total} L/min through the unit, air {air:.3} kg/m3. At each hole: its number; below it the \
             flow in L/min and the mean transport time in s. Not to scale."
        );
        self.svg.text("", UNIT.0, 17.5, Anchor::Start, &says);
        self.y = 21.0;
    }

    /// Draws the pipe of an inlet and gives the height of its line.
    fn inlet(&mut self, index: usize, run: &Run) -> f64 {
        let number = self.p.pipework().inlets[index].number;
        let found = self.p.prediction.inlets.iter().find(|i| i.inlet == index);
        let draws = found
            .map_or_else(String::new, |i| format!("{} L/min, {:.0} Pa", flow(i.flow_m3_s.value), i.suction_pa.value));
        self.run(run, 0, From::Unit(format!("pipe {number}"), draws), &format!("pipe {number}"))
    }

    /// Draws a run from a column on, with its branches; gives the height of its first line. `called` is what people call it.
    fn run(&mut self, run: &Run, first: usize, from: From, called: &str) -> f64 {
        if first + run.columns() <= COLUMNS {
            let y = self.row(&run.stations, first, &from, &[]);
            // From the last to the first, so that no line downward crosses a row.
            for (i, s) in run.stations.iter().enumerate().rev() {
                if let What::Branch(branch) = &s.what {
                    self.run(branch, first + i + 1, From::Tee(column(first + i), y), called);
                }
            }
            return y;
        }
        let mut branches = Vec::new();
        let mut top = None;
        let mut from = from;
        for stations in run.stations.chunks(COLUMNS) {
            let mut letters = Vec::new();
            for s in stations {
                if let What::Branch(branch) = &s.what {
                    letters.push(letter(self.letters));
                    branches.push((letter(self.letters), branch));
                    self.letters += 1;
                }
            }
            let y = self.row(stations, 0, &from, &letters);
            top.get_or_insert(y);
            from = From::Elsewhere(format!("{called} goes on"));
        }
        for (name, branch) in branches {
            self.run(branch, 0, From::Elsewhere(format!("branch {name}")), &format!("branch {name}"));
        }
        top.unwrap_or(self.y)
    }

    /// One row: the line, its stations, and what is written at the left. Gives the line's height. `letters` are those of
    /// branches that are drawn elsewhere.
    fn row(&mut self, stations: &[Station], first: usize, from: &From, letters: &[String]) -> f64 {
        let drop = if Run::has_drop(stations) { DROP } else { 0.0 };
        let y = self.y + if matches!(from, From::Unit(..)) { 13.0 } else { 9.0 };
        self.y = y + drop + 10.5;
        let end = column(first + stations.len().saturating_sub(1));
        let begin = match from {
            From::Unit(name, draws) => {
                self.svg.text("strong", UNIT.1 + 2.0, y - 7.6, Anchor::Start, name);
                self.svg.text("", UNIT.1 + 2.0, y - 4.0, Anchor::Start, draws);
                UNIT.1
            }
            From::Elsewhere(name) => {
                self.svg.text("strong", FROM_ELSEWHERE - 1.5, y + 1.0, Anchor::End, name);
                FROM_ELSEWHERE
            }
            From::Tee(x, above) => {
                self.svg.line("", *x, *above, *x, y);
                *x
            }
        };
        self.svg.line("", begin, y, end, y);
        if stations.iter().any(|s| matches!(s.what, What::Opening { .. })) {
            let x = column(first) - 5.0;
            self.svg.text("small", x, y + drop + 5.0, Anchor::End, "L/min");
            self.svg.text("small", x, y + drop + 8.6, Anchor::End, "s");
        }
        let mut before = begin;
        let mut letters = letters.iter();
        for (i, s) in stations.iter().enumerate() {
            let x = column(first + i);
            if s.gap_m > 0.0 {
                self.svg.text("small", 0.5 * (before + x), y - 1.1, Anchor::Middle, &length(s.gap_m));
            }
            before = x;
            match &s.what {
                What::Opening { index, drop_m } => self.opening(*index, *drop_m, (x, y), drop),
                What::Branch(_) => {
                    if let Some(name) = letters.next() {
                        self.svg.line("", x, y, x, y + 3.0);
                        self.svg.text("strong", x, y + 6.4, Anchor::Middle, name);
                    }
                }
                What::Ring { number, length_m } => {
                    self.svg.circle("", x, y, 2.0);
                    self.svg.text("", x, y + 1.05, Anchor::Middle, &(number + 1).to_string());
                    self.svg.text("small", x, y - 3.0, Anchor::Middle, &length(*length_m));
                }
                What::End => self.svg.line("", x, y - 1.6, x, y + 1.6),
            }
        }
        y
    }

    fn opening(&mut self, index: usize, drop_m: Option<f64>, (x, line): (f64, f64), drop: f64) {
        let p = self.p;
        let o = &p.pipework().openings[index];
        let mut y = line;
        if let Some(m) = drop_m {
            y += drop - 2.5;
            self.svg.line("thin", x, line, x, y);
            self.svg.text("small", x + 0.9, line + 3.4, Anchor::Start, &length(m));
        }
        self.symbol(o.kind, is_closed(o), (x, y));
        let mark = if self.remarked.contains(&index) { " !" } else { "" };
        self.svg.text("strong", x, line - 3.0, Anchor::Middle, &format!("{}{mark}", o.number));
        let Some(at) = p.opening(index) else {
            self.svg.text("small", x, line + drop + 5.0, Anchor::Middle, "closed");
            return;
        };
        self.svg.text("", x, line + drop + 5.0, Anchor::Middle, &flow(at.flow_m3_s.value));
        self.svg.text("", x, line + drop + 8.6, Anchor::Middle, &seconds(at.mean_s.value));
    }

    fn symbol(&mut self, kind: OpeningKind, closed: bool, (x, y): (f64, f64)) {
        if kind == OpeningKind::EndCap {
            self.svg.line("", x + DOT + 0.3, y - 2.0, x + DOT + 0.3, y + 2.0);
        }
        let full = kind != OpeningKind::OpenEnd && !closed;
        self.svg.circle(if full { "full" } else { "" }, x, y, DOT);
        if closed {
            let r = 1.6;
            self.svg.line("cross", x - r, y - r, x + r, y + r);
            self.svg.line("cross", x - r, y + r, x + r, y - r);
        }
    }

    /// The unit, beside the lines of its inlets.
    fn unit(&mut self, inlets: &[f64]) {
        let (Some(top), Some(bottom)) = (inlets.first(), inlets.last()) else { return };
        let (top, bottom) = (top - 8.0, bottom + 8.0);
        self.svg.rect("unit", UNIT.0, top, UNIT.1 - UNIT.0, bottom - top);
        self.svg.upward("", UNIT.0 + 4.2, 0.5 * (top + bottom), "unit");
    }

    /// What people at the site call the holes, in the order in which they walk; two to a row.
    fn places(&mut self) {
        let pipework = self.p.pipework();
        let mut all = Vec::new();
        for (inlet, openings) in pipework.walking_order() {
            for o in openings.into_iter().map(|k| &pipework.openings[k]) {
                let words = o.whereabouts.words();
                if !words.is_empty() {
                    all.push(format!("{}.{}{}", pipework.inlets[inlet].number, o.number, words.replacen(',', ":", 1)));
                }
            }
        }
        let rows = all.len().div_ceil(2);
        for (i, words) in all.iter().enumerate() {
            let x = UNIT.0 + if i < rows { 0.0 } else { PAGE / 2.0 };
            self.svg.text("small", x, self.y + 6.0 + 3.6 * (i % rows) as f64, Anchor::Start, &cut(words, 90));
        }
        if rows > 0 {
            self.y += 6.0 + 3.6 * (rows - 1) as f64;
        }
    }

    fn legend(&mut self) {
        let y = self.y + 6.0;
        self.y = y;
        let mut x = UNIT.0 + 2.0;
        let mut word = |d: &mut Self, text: &str, wide: f64| -> (f64, f64) {
            d.svg.text("small", x + 3.5, y + 1.0, Anchor::Start, text);
            x += wide;
            (x, y)
        };
        let kinds = [
            (OpeningKind::Hole, false, "hole", 18.0),
            (OpeningKind::EndCap, false, "end cap", 22.0),
            (OpeningKind::OpenEnd, false, "open end", 24.0),
            (OpeningKind::Hole, true, "closed", 22.0),
        ];
        let mut at = (UNIT.0 + 2.0, y);
        for (kind, closed, text, wide) in kinds {
            self.symbol(kind, closed, at);
            at = word(self, text, wide);
        }
        if !self.p.forest.closing.is_empty() {
            self.svg.circle("", at.0, at.1, 2.0);
            at = word(self, "joined by a length of pipe to the same number", 72.0);
        }
        if !self.remarked.is_empty() {
            self.svg.text("strong", at.0, y + 1.0, Anchor::Middle, "!");
            word(self, "see the warnings of the prediction", 50.0);
        }
    }
}
