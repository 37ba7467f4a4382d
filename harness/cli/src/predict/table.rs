//! The prediction as a table for people: at most 100 columns wide, the same on a terminal and in a pipe.
use super::{Predicted, is_closed, kind_word, l_min, options::origin, remarks};
use plumeline_base::{
    pipework::{Opening, OpeningKind},
    quantity::Estimate,
};
use plumeline_job::pipework::FrictionChoice;

/// Widest line, characters.
const WIDTH: usize = 100;
/// Coverage factor of what stands behind a plus-minus sign (JCGM 100 clause 6.2.1: about 95 %).
const COVERAGE: f64 = 2.0;

/// The whole text.
pub fn text(p: &Predicted) -> String {
    let mut out = Text::default();
    out.paragraph("", &p.pipework().name);
    out.paragraph("", &basis(p));
    out.blank();
    out.table(&pipes(p));
    for inlet in &p.prediction.inlets {
        out.blank();
        let holes = holes(p, inlet.number);
        if holes.rows.is_empty() {
            out.paragraph("", &format!("Pipe {}: joined to another pipe, its holes are listed there", inlet.number));
        } else {
            out.paragraph("", &format!("Pipe {}", inlet.number));
            out.table(&holes);
            places(p, inlet.number, &mut out);
        }
    }
    out.blank();
    out.paragraph("", LEGEND);
    needed(p, &mut out);
    out.blank();
    warnings(p, &mut out);
    out.blank();
    if !p.file.notes.is_empty() {
        out.paragraph("", "Not in the file, so filled in:");
        p.file.notes.iter().for_each(|note| out.paragraph("  - ", note));
        out.blank();
    }
    let r = &p.prediction.report;
    let differ = match r.linear_against_monte_carlo {
        d if d > 1.0 => "over 100 %: go by the intervals".to_owned(),
        d => format!("up to {:.0} %", d * 100.0),
    };
    out.paragraph(
        "",
        &format!(
            "Solved in {} steps; flows balance to {:.0e} of their sum, pressures to {:.0e} of the greatest ({:.0e} in \
             the worst of {} draws). Linear and Monte Carlo uncertainties differ by {differ}.",
            r.iterations, r.residual_mass, r.residual_energy, r.worst_residual_energy, r.draws,
        ),
    );
    out.0
}

const LEGEND: &str = "Times run from smoke at the hole to the unit's sensor. The mean is volume over flow along the way; first: \
    1 % of the smoke is there. A sign ± has about 95 % behind it (k = 2); an interval is the shortest that \
    holds 95 % of the draws of the tolerances.";

fn basis(p: &Predicted) -> String {
    let friction = match p.file.model.friction {
        FrictionChoice::Churchill => "Churchill",
        FrictionChoice::Colebrook => "Colebrook-White",
        FrictionChoice::HagenDunlopSwameeJain => "Hagen-Poiseuille, Dunlop, Swamee-Jain",
    };
    let momentum = if p.file.model.momentum { "counted" } else { "left out" };
    let air = p.solution.air;
    format!(
        "air {:.4} kg/m3, {:.2} uPa s; friction by {friction}; momentum at holes {momentum}",
        air.density,
        air.viscosity * 1e6
    )
}

fn pipes(p: &Predicted) -> Table {
    let mut t = Table::new(&[
        ("pipe", ""),
        ("flow", "L/min"),
        ("±", "L/min"),
        ("95 % interval", "L/min"),
        ("of unit", "%"),
        ("suction", "Pa"),
        ("±", "Pa"),
        ("longest mean time", "s"),
    ]);
    let total = &p.prediction.total_flow_m3_s;
    for i in &p.prediction.inlets {
        let mine = p.prediction.openings.iter().filter(|o| o.inlet == i.number);
        let slowest = mine.max_by(|a, b| a.mean_s.value.total_cmp(&b.mean_s.value));
        t.row([
            i.number.to_string(),
            flow(i.flow_m3_s.value),
            flow(spread(&i.flow_m3_s)),
            interval(i.flow_interval95, flow),
            fixed(100.0 * i.flow_m3_s.value / total.value, 1),
            fixed(i.suction_pa.value, 1),
            fixed(spread(&i.suction_pa), 1),
            slowest.map_or_else(String::new, |o| {
                format!("{} ({})", seconds(o.mean_s.value), label(&p.pipework().openings[o.opening]))
            }),
        ]);
    }
    t.row(["unit".into(), flow(total.value), flow(spread(total))]);
    t
}

fn holes(p: &Predicted, inlet: u8) -> Table {
    let mut t = Table::new(&[
        ("hole", ""),
        ("size", "mm"),
        ("flow", "L/min"),
        ("±", "L/min"),
        ("of pipe", "%"),
        ("of unit", "%"),
        ("suction", "Pa"),
        ("mean time", "s"),
        ("95 % interval", "s"),
        ("first", "s"),
    ]);
    for (k, o) in p.pipework().openings.iter().enumerate().filter(|(k, _)| p.forest.inlet_of[*k] == Some(inlet)) {
        let (name, size) = (label(o), fixed(o.diameter_m * 1e3, 2));
        match p.opening(k) {
            _ if is_closed(o) => t.row([name, size, "closed".into()]),
            None => t.row([name, size]),
            Some(at) => t.row([
                name,
                size,
                flow(at.flow_m3_s.value),
                flow(spread(&at.flow_m3_s)),
                fixed(at.share_of_pipe * 100.0, 1),
                fixed(at.share_of_unit * 100.0, 2),
                fixed(at.suction_pa.value, 1),
                seconds(at.mean_s.value),
                interval(at.mean_interval95, seconds),
                // Over such a mean time the shape of the arrival is beyond arithmetic.
                seconds(if at.mean_s.value > HOPELESS { at.mean_s.value } else { at.first_s.value }),
            ]),
        }
    }
    t
}

/// What people at the site call the holes, in the order in which they walk.
fn places(p: &Predicted, inlet: u8, out: &mut Text) {
    let walks = p.pipework().walking_order();
    let walk = walks.iter().find(|(i, _)| p.pipework().inlets[*i].number == inlet);
    let named = |o: &&Opening| !o.whereabouts.words().is_empty();
    let all = walk.into_iter().flat_map(|(_, walk)| walk).map(|k| &p.pipework().openings[*k]).filter(named);
    for (i, o) in all.enumerate() {
        if i == 0 {
            out.blank();
            out.paragraph("", "Where they are, as a person walks:");
        }
        let lead = format!("  {}: ", label(o));
        out.paragraph(&lead, o.whereabouts.words().trim_start_matches(", "));
    }
}

fn needed(p: &Predicted, out: &mut Text) {
    for levels in p.levels.chunks(4) {
        out.blank();
        out.paragraph("", "Obscuration that smoke at one hole needs (clean air at all others) for the unit to see:");
        let titles: Vec<(String, String)> = levels.iter().map(|l| (l.title(), l.unit.to_string())).collect();
        let mut heads = vec![("pipe", ""), ("hole", "")];
        heads.extend(titles.iter().map(|(a, b)| (a.as_str(), b.as_str())));
        let mut t = Table::new(&heads);
        for o in &p.prediction.openings {
            let mut row = vec![o.inlet.to_string(), label(&p.pipework().openings[o.opening])];
            row.extend(levels.iter().map(|l| match p.needed(o, l) {
                Some(x) if x >= 99.995 && l.unit.symbol().starts_with('%') => "over 99.99".into(),
                Some(x) => fixed(x, 2),
                None => "draws nothing".into(),
            }));
            t.row(row);
        }
        out.table(&t);
    }
}

fn warnings(p: &Predicted, out: &mut Text) {
    let l = &p.limits;
    let all = remarks::paragraphs(p);
    if all.is_empty() {
        out.paragraph("", "No warnings.");
    } else {
        out.paragraph("", &format!("Warnings ({}):", all.len()));
        all.iter().for_each(|w| out.paragraph("  ! ", w));
    }
    out.paragraph(
        "",
        &format!(
            "Held against: mean time up to {} s ({}), suction from {} Pa ({}), weakest hole from {:.0} % of the \
             strongest ({}). Local codes, the listing of the unit and a licensed person decide.",
            l.transport.value,
            origin(&l.transport),
            l.suction.value,
            origin(&l.suction),
            l.balance.value * 100.0,
            origin(&l.balance)
        ),
    );
}

/// Number and kind of an opening, short.
pub fn label(o: &Opening) -> String {
    match o.kind {
        OpeningKind::Hole => o.number.to_string(),
        kind => format!("{} {}", o.number, kind_word(kind)),
    }
}
fn spread(e: &Estimate) -> f64 {
    COVERAGE * e.u()
}
/// A number with so many decimals; no sign before a zero.
fn fixed(x: f64, decimals: usize) -> String {
    if !x.is_finite() {
        return "-".into();
    }
    let text = format!("{x:.decimals$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| matches!(c, '0' | '.')) => zero.to_owned(),
        _ => text,
    }
}
/// A flow, in L/min.
pub fn flow(m3_s: f64) -> String {
    fixed(l_min(m3_s), 2)
}
/// Times beyond this are as good as never, and their digits mean nothing, s.
const HOPELESS: f64 = 9999.0;
/// A time; what never arrives says so.
pub fn seconds(s: f64) -> String {
    match s {
        f64::INFINITY => "never".into(),
        s if s > HOPELESS => format!("> {HOPELESS}"),
        s => fixed(s, 1),
    }
}
fn interval((low, high): (f64, f64), show: fn(f64) -> String) -> String {
    if low == f64::NEG_INFINITY {
        return "none".into();
    }
    let (low, high) = (show(low), show(high));
    if low == high { low } else { format!("{low} to {high}") }
}

/// Columns with a heading and a unit, each as wide as its widest cell, the first ones to the left, numbers to the right.
struct Table {
    heads: Vec<(String, String)>,
    rows: Vec<Vec<String>>,
}
impl Table {
    fn new(heads: &[(&str, &str)]) -> Self {
        Self { heads: heads.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect(), rows: Vec::new() }
    }
    fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }
}

/// Text of limited width.
#[derive(Default)]
struct Text(String);
impl Text {
    fn blank(&mut self) {
        self.0.push('\n');
    }
    fn line(&mut self, line: &str) {
        self.0.push_str(line.trim_end());
        self.0.push('\n');
    }
    /// Words, broken where they would pass the width; later lines stand under the first.
    fn paragraph(&mut self, lead: &str, words: &str) {
        let indent = " ".repeat(lead.chars().count());
        let mut line = lead.to_owned();
        let mut empty = true;
        // Nothing of a file may steer the terminal.
        for word in words.split_whitespace().map(|w| w.replace(char::is_control, "\u{fffd}")) {
            if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.line(&line);
                line.clone_from(&indent);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(&word);
            empty = false;
        }
        self.line(&line);
    }
    fn table(&mut self, t: &Table) {
        let wide = |s: &str| s.chars().count();
        let mut widths: Vec<usize> = t.heads.iter().map(|(a, b)| wide(a).max(wide(b))).collect();
        for row in &t.rows {
            for (w, cell) in widths.iter_mut().zip(row) {
                *w = wide(cell).max(*w);
            }
        }
        let names = t.heads.iter().map(|h| h.0.as_str()).collect();
        let units = t.heads.iter().map(|h| h.1.as_str()).collect();
        let rows = t.rows.iter().map(|r| r.iter().map(String::as_str).collect());
        for row in [names, units].into_iter().chain::<Vec<Vec<&str>>>(rows.collect()) {
            let mut line = " ".to_owned();
            for (i, (cell, w)) in row.iter().zip(&widths).enumerate() {
                let pad = " ".repeat(w - wide(cell));
                line.push_str(if i == 0 { " " } else { "  " });
                // Names to the left, numbers to the right.
                line.push_str(&if i == 0 { format!("{cell}{pad}") } else { format!("{pad}{cell}") });
            }
            self.line(&line);
        }
    }
}
