//! Figures over the years: a panel for each kind, a line for each place, a mark for each visit.
use super::{fit::fitted, ticks};
use crate::{
    svg::{Anchor, Svg},
    words::number,
};

const WIDTH: f64 = 720.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 96.0;
const PLOT: f64 = WIDTH - LEFT - RIGHT;
const HIGH: f64 = 96.0;
const TOP: f64 = 20.0;
const APART: f64 = 34.0;
/// Room between the frame and the first and last visit.
const WITHIN: f64 = 18.0;
/// Least distance of two dates below the axis.
const DATE: f64 = 62.0;

/// One place over the visits.
#[derive(Clone, Debug, Default)]
pub struct Series {
    /// What stands at its end; empty: nothing.
    pub label: String,
    /// By visit: the value and half of its interval, where it is known; a visit without one breaks the line.
    pub points: Vec<Option<(f64, Option<f64>)>>,
}

/// A panel.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// What it shows, with its unit.
    pub label: String,
    /// Its lines.
    pub series: Vec<Series>,
}

/// The chart as SVG; `None` where no panel has a value. `visits` are their places on the axis (days, rising) and what is written there.
pub fn svg(id: &str, title: &str, desc: &str, visits: &[(f64, String)], panels: &[Panel]) -> Option<String> {
    let (first, last) = (visits.first()?.0, visits.last()?.0);
    let x = |day: f64| {
        if last > first {
            LEFT + WITHIN + (day - first) / (last - first) * (PLOT - 2.0 * WITHIN)
        } else {
            LEFT + PLOT / 2.0
        }
    };
    let drawn: Vec<(&Panel, f64, f64)> =
        panels.iter().filter_map(|p| range(p).map(|(low, high)| (p, low, high))).collect();
    if drawn.is_empty() {
        return None;
    }
    let mut svg = Svg::new(1);
    let mut top = TOP;
    for (panel, low, high) in &drawn {
        let y = |v: f64| top + (high - v) / (high - low) * HIGH;
        svg.text("small", LEFT, top - 6.0, Anchor::Start, &panel.label);
        let t = ticks(*low, *high, 5);
        for v in &t.values {
            svg.line("grid", LEFT, y(*v), LEFT + PLOT, y(*v));
            svg.text("", LEFT - 6.0, y(*v) + 4.0, Anchor::End, &number(*v, t.decimals));
        }
        for series in &panel.series {
            let at = |k: usize| visits.get(k).map_or(LEFT, |(day, _)| x(*day));
            let known = series.points.split(Option::is_none);
            let mut from = 0;
            let stretches: Vec<Vec<(f64, f64)>> = known
                .map(|run| {
                    let stretch =
                        run.iter().enumerate().filter_map(|(k, p)| Some((at(from + k), y(p.as_ref()?.0)))).collect();
                    from += run.len() + 1;
                    stretch
                })
                .filter(|stretch: &Vec<_>| !stretch.is_empty())
                .collect();
            svg.path("s-solid", stretches);
            for (k, point) in series.points.iter().enumerate() {
                let Some((v, half)) = point else { continue };
                if let Some(half) = half {
                    svg.line("s-solid", at(k), y((v - half).max(*low)), at(k), y((v + half).min(*high)));
                }
                svg.circle("dot", at(k), y(*v), 2.5);
            }
            if series.label.is_empty() {
                continue;
            }
            if let Some((k, (v, _))) = series.points.iter().enumerate().rev().find_map(|(k, p)| Some((k, (*p)?))) {
                svg.text(
                    "small",
                    at(k).max(LEFT + PLOT - WITHIN) + WITHIN + 6.0,
                    y(v) + 4.0,
                    Anchor::Start,
                    &fitted(&series.label, RIGHT - 8.0),
                );
            }
        }
        svg.rect("frame", LEFT, top, PLOT, HIGH);
        top += HIGH + APART;
    }
    let mut free = f64::NEG_INFINITY;
    for (day, date) in visits {
        svg.line("grid", x(*day), TOP, x(*day), top - APART);
        if x(*day) - free >= DATE {
            svg.text("", x(*day), top - APART + 16.0, Anchor::Middle, date);
            free = x(*day);
        }
    }
    Some(svg.on_page(id, WIDTH, top - APART + 26.0, title, desc))
}

/// What a panel spans, with room.
fn range(panel: &Panel) -> Option<(f64, f64)> {
    let values = panel.series.iter().flat_map(|s| &s.points).flatten();
    let ends =
        values.flat_map(|(v, half)| [v - half.unwrap_or(0.0), v + half.unwrap_or(0.0)]).filter(|v| v.is_finite());
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let spare = ((high - low) * 0.1).max(high.abs() * 0.02).max(1e-6);
    (low <= high).then_some((low - spare, high + spare))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_visit_has_its_mark_and_what_is_missing_breaks_the_line() {
        let visits: Vec<(f64, String)> = [0.0, 365.0, 730.0].map(|d| (d, format!("day {d}"))).into();
        let points = vec![Some((40.0, Some(2.0))), None, Some((38.0, Some(2.0)))];
        let panel = Panel { label: "flow, L/min".into(), series: vec![Series { label: "now".into(), points }] };
        let s = svg("y", "t", "d", &visits, std::slice::from_ref(&panel)).unwrap();
        assert_eq!((s.matches(r#"class="dot""#).count(), s.matches("h.1").count()), (2, 2));
        assert!(s.contains(">day 730<") && s.contains(">now<") && s.contains(">flow, L/min<"));
        assert_eq!(svg("y", "t", "d", &visits, &[Panel::default()]), None);
        assert_eq!(svg("y", "t", "d", &[], &[panel]), None);
    }
}
