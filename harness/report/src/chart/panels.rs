//! Readings over time: one panel above another on a common time axis, with spans, levels and marked moments.
use super::{
    decimate,
    fit::{fitted, text_width},
    ticks,
};
use crate::{
    svg::{Anchor, Svg},
    words::{number, shortest},
};

const WIDTH: f64 = 720.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = 12.0;
const PLOT: f64 = WIDTH - LEFT - RIGHT;
const ROW: f64 = 15.0;
const BETWEEN: f64 = 26.0;

/// A chart over time.
#[derive(Clone, Debug, Default)]
pub struct TimeChart {
    /// Title, for those who don't see the chart.
    pub title: String,
    /// What the chart shows, in a sentence or two.
    pub desc: String,
    /// Start of the time axis, s.
    pub from: f64,
    /// End of the time axis, s.
    pub to: f64,
    /// What the time axis counts from, for example `since the release`.
    pub since: String,
    /// Unit of all panels.
    pub unit: String,
    /// Height of each panel, px of a chart 720 px wide.
    pub height: f64,
    /// Spans that go through all panels, each named in a row above: from, to (s), name.
    pub stages: Vec<(f64, f64, String)>,
    /// Moments that go through all panels, each named above.
    pub moments: Vec<Moment>,
    /// Panels from top to bottom.
    pub panels: Vec<Panel>,
}

/// A marked moment.
#[derive(Clone, Debug)]
pub struct Moment {
    /// When, s.
    pub at: f64,
    /// Half of the interval about it, s; 0 for none.
    pub half: f64,
    /// What it is.
    pub label: String,
    /// How it is drawn.
    pub stroke: Stroke,
}

/// Line styles, told apart without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Something that happened or was measured.
    Solid,
    /// Something that was predicted.
    Dashed,
    /// Something besides.
    Dotted,
    /// A limit.
    Heavy,
}
impl Stroke {
    const fn class(self) -> &'static str {
        match self {
            Self::Solid => "s-solid",
            Self::Dashed => "s-dashed",
            Self::Dotted => "s-dotted",
            Self::Heavy => "s-heavy",
        }
    }
}

/// One panel.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// What is shown.
    pub label: String,
    /// Points with rising time, s; `None` breaks the line.
    pub points: Vec<(f64, Option<f64>)>,
    /// The value axis begins at 0 (or below, where readings do).
    pub from_zero: bool,
    /// A horizontal interval, for example what was predicted.
    pub interval: Option<(f64, f64)>,
    /// Horizontal lines with their names.
    pub levels: Vec<(f64, String, Stroke)>,
    /// Spans in this panel only: from, to (s), a short name.
    pub spans: Vec<(f64, f64, String)>,
}

impl TimeChart {
    /// The chart as SVG; `id` must be unique on the page. `None` if the time axis has no length.
    pub fn svg(&self, id: &str) -> Option<String> {
        if !(self.to > self.from && (self.to - self.from).is_finite()) {
            return None;
        }
        let mut svg = Svg::new(1);
        let x = |t: f64| LEFT + (t.clamp(self.from, self.to) - self.from) / (self.to - self.from) * PLOT;

        // Names of moments, each in the first row with room for it.
        let mut rows: Vec<f64> = Vec::new();
        let mut names = Vec::new();
        for m in self.moments.iter().filter(|m| m.at >= self.from && m.at <= self.to) {
            let width = text_width(&m.label) + 8.0;
            let left = (x(m.at) + 3.0).min(WIDTH - RIGHT - width).max(LEFT);
            let row = rows.iter().position(|end| *end <= left).unwrap_or(rows.len());
            match rows.get_mut(row) {
                Some(end) => *end = left + width,
                None => rows.push(left + width),
            }
            names.push((m, left, row));
        }
        let stage_row = if self.stages.is_empty() { 0.0 } else { ROW + 2.0 };
        let top = 4.0 + rows.len() as f64 * ROW + stage_row;
        let pitch = self.height + BETWEEN;
        let bottom = top + self.panels.len().max(1) as f64 * pitch;

        for (k, (from, to, name)) in self.stages.iter().enumerate() {
            let (a, b) = (x(*from), x(*to));
            svg.rect(
                if k % 2 == 0 { "stage" } else { "stage odd" },
                a,
                top - stage_row,
                b - a,
                bottom - top + stage_row,
            );
            let text = fitted(name, b - a);
            if !text.is_empty() && !text.starts_with('…') {
                svg.text("small", (a + b) / 2.0, top - 5.0, Anchor::Middle, &text);
            }
        }
        for (m, left, row) in names {
            let y = 4.0 + ROW * (row as f64 + 1.0) - 4.0;
            let at = x(m.at);
            if m.half > 0.0 {
                let (a, b) = (x(m.at - m.half), x(m.at + m.half));
                svg.rect("about", a, y + 3.0, (b - a).max(1.0), bottom - y - 11.0);
            }
            svg.line(m.stroke.class(), at, y + 3.0, at, bottom - 8.0);
            svg.text("", left, y, Anchor::Start, &m.label);
        }
        for (k, panel) in self.panels.iter().enumerate() {
            self.panel(&mut svg, panel, top + k as f64 * pitch + BETWEEN - 8.0);
        }

        // Time axis.
        let span = self.to - self.from;
        let (per, unit) = if span <= 300.0 {
            (1.0, "s")
        } else if span <= 18_000.0 {
            (60.0, "min")
        } else {
            (3600.0, "h")
        };
        let axis = bottom - 8.0;
        svg.line("axis", LEFT, axis, LEFT + PLOT, axis);
        let t = ticks(self.from / per, self.to / per, 12);
        for v in &t.values {
            svg.line("axis", x(v * per), axis, x(v * per), axis + 4.0);
            svg.text("", x(v * per), axis + 17.0, Anchor::Middle, &number(*v, t.decimals));
        }
        svg.text("", LEFT + PLOT, axis + 33.0, Anchor::End, &format!("{unit} {}", self.since));
        Some(svg.on_page(id, WIDTH, axis + 40.0, &self.title, &self.desc))
    }

    fn panel(&self, svg: &mut Svg, panel: &Panel, y0: f64) {
        let x = |t: f64| LEFT + (t.clamp(self.from, self.to) - self.from) / (self.to - self.from) * PLOT;
        svg.text("strong", LEFT, y0 - 6.0, Anchor::Start, &format!("{}, {}", panel.label, self.unit));
        let stretches = decimate(panel.points.iter().copied(), self.from, self.to, PLOT as usize);
        let Some((low, high)) = self.range(panel, &stretches) else {
            svg.rect("frame", LEFT, y0, PLOT, self.height);
            svg.text("", LEFT + PLOT / 2.0, y0 + self.height / 2.0 + 4.0, Anchor::Middle, "no readings");
            return;
        };
        let y = |v: f64| y0 + (high - v.clamp(low, high)) / (high - low) * self.height;

        for (from, to, name) in &panel.spans {
            if *to < self.from || *from > self.to {
                continue;
            }
            let (a, b) = (x(*from), x(*to));
            svg.rect("span", a, y0, (b - a).max(1.0), self.height);
            if text_width(name) <= b - a + 4.0 {
                svg.text("small", (a + b) / 2.0, y0 + 11.0, Anchor::Middle, name);
            }
        }
        if let Some((a, b)) = panel.interval {
            svg.rect("interval", LEFT, y(b), PLOT, y(a) - y(b));
        }
        let t = ticks(low, high, ((self.height / 22.0) as usize).max(3));
        for v in &t.values {
            svg.line("grid", LEFT, y(*v), LEFT + PLOT, y(*v));
            svg.text("", LEFT - 6.0, y(*v) + 4.0, Anchor::End, &number(*v, t.decimals));
        }
        for (k, (v, name, stroke)) in panel.levels.iter().enumerate() {
            if *v >= low && *v <= high {
                svg.line(stroke.class(), LEFT, y(*v), LEFT + PLOT, y(*v));
                // Above the line, or below it where there is no room.
                let dy = if y(*v) - y0 < 14.0 { 12.0 } else { -4.0 };
                // Neighbours at opposite ends, so that close lines keep their names apart.
                let (at, anchor) =
                    if k % 2 == 0 { (LEFT + PLOT - 3.0, Anchor::End) } else { (LEFT + 3.0, Anchor::Start) };
                svg.text("small", at, y(*v) + dy, anchor, name);
            }
        }
        // Gaps wide enough to be seen are said in words.
        let inside = |p: &&(f64, Option<f64>)| p.0 >= self.from && p.0 <= self.to;
        let mut last: Option<f64> = None;
        let mut broken = false;
        for (t, v) in panel.points.iter().filter(inside) {
            if v.is_some_and(f64::is_finite) {
                if let Some(before) = last.filter(|_| broken) {
                    let (a, b) = (x(before), x(*t));
                    if b - a > 4.0 {
                        svg.rect("gap", a, y0, b - a, self.height);
                    }
                    if b - a > text_width("no readings") {
                        svg.text("small", (a + b) / 2.0, y0 + self.height / 2.0, Anchor::Middle, "no readings");
                    }
                }
                last = Some(*t);
                broken = false;
            } else {
                broken = true;
            }
        }
        svg.path("data", stretches.into_iter().map(|s| s.into_iter().map(|(t, v)| (x(t), y(v))).collect()));
        svg.rect("frame", LEFT, y0, PLOT, self.height);
    }

    /// Lowest and highest value shown in a panel.
    fn range(&self, panel: &Panel, stretches: &super::Stretches) -> Option<(f64, f64)> {
        let shown = stretches.iter().flatten().map(|p| p.1);
        let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        if low > high {
            return None;
        }
        let besides = panel.levels.iter().map(|l| l.0).chain(panel.interval.into_iter().flat_map(|(a, b)| [a, b]));
        let (mut low, high) = besides.filter(|v| v.is_finite()).fold((low, high), |(a, b), v| (a.min(v), b.max(v)));
        if panel.from_zero {
            low = low.min(0.0);
        }
        // Never so close that noise fills the panel.
        let least = (low.abs().max(high.abs()) * 0.1).max(1e-6);
        let spare = ((least - (high - low)) / 2.0).max((high - low) * 0.06);
        if !(panel.from_zero && low == 0.0) {
            low -= spare;
        }
        Some((low, high + spare))
    }
}

/// A moment's label with its value and interval.
pub fn moment_label(what: &str, at: f64, half: Option<f64>) -> String {
    match half {
        Some(u) => {
            let d = crate::words::decimals(u);
            format!("{what} {} ± {} s", number(at, d), number(u, d))
        }
        None => format!("{what} {} s", shortest((at * 100.0).round() / 100.0)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart() -> TimeChart {
        TimeChart {
            title: "Flow".into(),
            desc: "A test".into(),
            to: 600.0,
            since: "since the start".into(),
            unit: "L/min".into(),
            height: 90.0,
            stages: vec![(0.0, 300.0, "1".into()), (300.0, 600.0, "2".into())],
            panels: vec![Panel {
                label: "Pipe 1".into(),
                points: (0..6000)
                    .map(|k| (f64::from(k) * 0.1, (!(2000..3500).contains(&k)).then_some(40.0 + f64::from(k % 3))))
                    .collect(),
                levels: vec![(41.0, "baseline".into(), Stroke::Dashed)],
                spans: vec![(400.0, 460.0, "hole 3".into())],
                ..Panel::default()
            }],
            moments: vec![
                Moment { at: 100.0, half: 5.0, label: "first".into(), stroke: Stroke::Solid },
                Moment { at: 105.0, half: 0.0, label: "second".into(), stroke: Stroke::Heavy },
            ],
            ..TimeChart::default()
        }
    }

    #[test]
    fn axes_have_units_and_gaps_are_open() {
        let svg = chart().svg("c").unwrap();
        assert!(svg.contains("Pipe 1, L/min"));
        assert!(svg.contains("min since the start"));
        assert!(svg.contains(r#"class="gap""#) && svg.contains(">no readings<"));
        let data = svg.lines().find(|l| l.contains(r#"class="data""#)).unwrap();
        assert_eq!(data.matches('M').count(), 2, "two stretches, no line across the gap");
        // The gap runs from 200 s to 350 s of 600 s: no vertex between.
        let (a, b) = (LEFT + PLOT / 3.0 + 0.1, LEFT + PLOT * 350.0 / 600.0 - 0.1);
        let d = data.split("d=\"").nth(1).unwrap();
        let xs = d.split(['M', 'L']).filter_map(|p| p.split(' ').next()?.parse::<f64>().ok());
        assert!(xs.clone().count() > 500);
        assert!(xs.into_iter().all(|x| x <= a || x >= b));
    }
    #[test]
    fn names_of_close_moments_do_not_overlap() {
        let svg = chart().svg("c").unwrap();
        let y = |name: &str| {
            let line = svg.lines().find(|l| l.contains(&format!(">{name}<"))).unwrap();
            line.split("y=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
        };
        assert_ne!(y("first"), y("second"));
    }
    #[test]
    fn no_readings_and_no_axis_are_said() {
        let mut c = chart();
        c.panels[0].points.clear();
        assert!(c.svg("c").unwrap().contains(">no readings<"));
        c.to = c.from;
        assert_eq!(c.svg("c"), None);
        c.to = f64::NAN;
        assert_eq!(c.svg("c"), None);
    }
}
