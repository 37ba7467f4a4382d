//! Measured against expected: one row for each item, with intervals and what is allowed.
use super::{fit::fitted, ticks};
use crate::{
    svg::{Anchor, Svg},
    words::number,
};

const WIDTH: f64 = 720.0;
const LEFT: f64 = 130.0;
const RIGHT: f64 = 24.0;
const PLOT: f64 = WIDTH - LEFT - RIGHT;
const ROW: f64 = 26.0;
const TOP: f64 = 8.0;

/// One row. All values in the chart's unit.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// What the row is about.
    pub label: String,
    /// Expected value with half of its interval.
    pub expected: Option<(f64, f64)>,
    /// Measured value with half of its interval.
    pub measured: Option<(f64, f64)>,
    /// Lowest value allowed.
    pub low: Option<f64>,
    /// Highest value allowed.
    pub high: Option<f64>,
}

/// The chart as SVG; `None` when there is nothing to draw. A dot with a line is a measured value and its interval; a
/// grey bar with a tick is an expected value and its interval; a heavy bracket is the end of what is allowed.
pub fn svg(id: &str, title: &str, desc: &str, unit: &str, rows: &[Row]) -> Option<String> {
    let values = rows.iter().flat_map(|r| {
        let pairs = [r.expected, r.measured].into_iter().flatten().flat_map(|(v, u)| [v - u, v + u]);
        pairs.chain(r.low).chain(r.high)
    });
    let (low, high) =
        values.filter(|v| v.is_finite()).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    if low > high {
        return None;
    }
    let spare = ((high - low) * 0.05).max(high.abs().max(low.abs()) * 0.01).max(1e-6);
    let (low, high) = (low - spare, high + spare);
    let x = |v: f64| LEFT + (v.clamp(low, high) - low) / (high - low) * PLOT;
    let bottom = TOP + rows.len() as f64 * ROW;

    let mut svg = Svg::new(1);
    let t = ticks(low, high, 9);
    for v in &t.values {
        svg.line("grid", x(*v), TOP, x(*v), bottom);
        svg.text("", x(*v), bottom + 16.0, Anchor::Middle, &number(*v, t.decimals));
    }
    svg.text("", LEFT + PLOT, bottom + 32.0, Anchor::End, unit);
    for (k, row) in rows.iter().enumerate() {
        let y = TOP + (k as f64 + 0.5) * ROW;
        svg.text("", LEFT - 10.0, y + 4.0, Anchor::End, &fitted(&row.label, LEFT - 14.0));
        if let Some((v, u)) = row.expected.filter(|(v, u)| v.is_finite() && u.is_finite()) {
            svg.rect("predicted", x(v - u), y - 8.0, x(v + u) - x(v - u), 16.0);
            svg.line("s-dashed", x(v), y - 8.0, x(v), y + 8.0);
        }
        for (v, turn) in [(row.low, 4.0), (row.high, -4.0)] {
            if let Some(v) = v.filter(|v| v.is_finite()) {
                svg.path(
                    "s-heavy",
                    [vec![(x(v) + turn, y - 10.0), (x(v), y - 10.0), (x(v), y + 10.0), (x(v) + turn, y + 10.0)]],
                );
            }
        }
        match row.measured.filter(|(v, _)| v.is_finite()) {
            Some((v, u)) => {
                if u.is_finite() {
                    svg.line("s-solid", x(v - u), y, x(v + u), y);
                }
                svg.circle("dot", x(v), y, 3.5);
            }
            None => svg.text("small", LEFT + 4.0, y + 4.0, Anchor::Start, "not measured"),
        }
    }
    svg.rect("frame", LEFT, TOP, PLOT, bottom - TOP);
    Some(svg.on_page(id, WIDTH, bottom + 40.0, title, desc))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_measured_is_said() {
        let rows = [
            Row { label: "Pipe 1".into(), expected: Some((40.0, 3.0)), measured: Some((39.0, 1.0)), ..Row::default() },
            Row {
                label: "Pipe 2".into(),
                expected: Some((40.0, 3.0)),
                measured: Some((f64::NAN, 1.0)),
                ..Row::default()
            },
        ];
        let s = svg("i", "t", "d", "L/min", &rows).unwrap();
        assert_eq!(s.matches(r#"class="dot""#).count(), 1);
        assert_eq!(s.matches("not measured").count(), 1);
        assert!(s.contains(">L/min<"));
        assert_eq!(svg("i", "t", "d", "L/min", &[Row::default()]), None);
    }
}
