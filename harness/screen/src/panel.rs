//! What the panel shows, row by row, of the view that pages have too.
//!
//! Not here: where it stands (`screen`).
use plumeline_base::{Instant, Verdict, text::visible_line};
use plumeline_page::{
    site::{Pipe, Site},
    view::{Point, View},
};
use plumeline_runtime::show::clock;
use ratatui::{
    buffer::Buffer,
    layout::Rect,
    style::{Color, Modifier, Style},
    text::{Line, Span},
    widgets::{Sparkline, Widget},
};
use std::{collections::BTreeMap, time::Duration};

/// A reading that is older is not shown.
const FRESH: Duration = Duration::from_secs(5);
/// The smoke curve goes back so far where no release is shown, s.
const BACK_S: f64 = 120.0;
/// A release is shown for so long, s.
const RELEASE_S: f64 = 600.0;
/// From here on there is room for a curve and for findings.
const ROOMY: u16 = 14;
/// Columns of what stands before a row.
const LABEL: usize = 7;

/// What does not change.
pub struct Panel {
    /// Pipes and what is predicted.
    pub site: Site,
    /// Titles of the job's stages, in order.
    pub stages: Vec<String>,
    /// Colours may be used; nothing hangs on them.
    pub colour: bool,
}

/// Draws all rows. `how`: what to type, by question.
pub fn draw(buffer: &mut Buffer, now: Instant, view: &View, panel: &Panel, how: &BTreeMap<u32, String>) {
    let area = buffer.area;
    let roomy = area.height >= ROOMY;
    let (asked, found) = if roomy { (3, 2) } else { (2, 0) };
    let mut rows = Rows { buffer, y: 0 };
    rows.head(now, view, panel);
    // What is asked stands at the bottom whatever else there is; smoke, findings, what goes on and the line take a row each.
    let for_pipes = area.height.saturating_sub(1 + asked + found + 4);
    let pipes = &panel.site.pipes;
    let for_pipes = if roomy { for_pipes.min(4) } else { for_pipes };
    let point = view.points.back().filter(|p| now.since(p.at) <= FRESH);
    rows.pipes(pipes, point, panel.colour, for_pipes);
    rows.smoke(now, view, panel, point);
    let spare = area.height.saturating_sub(rows.y + 3 + found + asked);
    rows.curve(now, view, panel, spare);
    rows.found(view, panel.colour, found);
    rows.doing(now, view);
    rows.lines(view);
    rows.y = area.height.saturating_sub(asked);
    rows.asked(view, panel, how, asked);
}

struct Rows<'a> {
    buffer: &'a mut Buffer,
    y: u16,
}

impl Rows<'_> {
    fn width(&self) -> usize {
        usize::from(self.buffer.area.width)
    }
    fn put(&mut self, line: &Line<'_>) {
        if self.y < self.buffer.area.height {
            self.buffer.set_line(0, self.y, line, self.buffer.area.width);
        }
        self.y += 1;
    }
    /// A row with what it is about before it.
    fn about(&mut self, label: &str, spans: Vec<Span<'_>>) {
        let label = Span::styled(format!("{label:<LABEL$}"), Style::new().add_modifier(Modifier::DIM));
        self.put(&Line::from([vec![label], spans].concat()));
    }
    /// The stage, the next one, and how long the zone has been out of service.
    fn head(&mut self, now: Instant, view: &View, panel: &Panel) {
        let stage = match (&view.over, &view.stage) {
            (Some(over), _) => format!("over: {}", over.verdict),
            (None, Some(stage)) => stage.clone(),
            (None, None) => "between two stages".into(),
        };
        let at = panel.stages.iter().position(|s| view.stage.as_ref() == Some(s));
        let done = |title: &String| view.stages.iter().any(|s| s.title == *title);
        let from = at.map_or(0, |at| at + 1);
        let next = panel.stages.iter().skip(from).find(|s| !done(s)).map(|s| format!("next: {s}"));
        let next = next.filter(|_| view.over.is_none()).unwrap_or_default();
        let time = match &view.out {
            Some(out) => {
                let since = seconds(now) - out.since_us as f64 / 1e6;
                let over = if since > out.limit_s { " OVER THE LIMIT" } else { "" };
                format!("out of service {} of {}{over}", time(since), time(out.limit_s))
            }
            None => clock(now),
        };
        let width = self.width();
        let room = width.saturating_sub(time.chars().count() + 2);
        let left = [visible_line(&stage), visible_line(&next)].join("  ");
        let left: String = left.trim_end().chars().take(room).collect();
        let gap = " ".repeat(width.saturating_sub(left.chars().count() + time.chars().count()));
        self.put(&Line::styled(format!("{left}{gap}{time}"), Style::new().add_modifier(Modifier::REVERSED)));
    }
    /// Each pipe's flow against its prediction; side by side, without a scale, where there are more than rows.
    fn pipes(&mut self, pipes: &[Pipe], point: Option<&Point>, colour: bool, rows: u16) {
        let rows = usize::from(rows).max(1);
        let columns = pipes.len().div_ceil(rows).max(1);
        let width = self.width() / columns;
        for row in 0..pipes.len().div_ceil(columns) {
            let y = self.y;
            for (column, pipe) in pipes.iter().skip(row * columns).take(columns).enumerate() {
                let mut line = flow(pipe, point, colour, columns > 1);
                let room = width.saturating_sub(line.width() + 1);
                if columns == 1 && room >= 12 {
                    line.push_span(Span::raw(scale(pipe, point, room.min(41))));
                }
                let x = (column * width) as u16;
                if y < self.buffer.area.height {
                    self.buffer.set_line(x, y, &line, width.saturating_sub(1) as u16);
                }
            }
            self.y += 1;
        }
    }
    fn smoke(&mut self, now: Instant, view: &View, panel: &Panel, point: Option<&Point>) {
        let most = point.and_then(|p| highest(&p.smoke));
        let mut words = most.map_or_else(|| "no reading".to_owned(), |k| format!("{k:.3} %/m"));
        if let Some((at, half)) = released(now, view, panel) {
            let (inlet, number) = view.release.as_ref().map(|r| r.hole).unwrap_or_default();
            words.push_str(&format!("  released at {inlet}.{number} {:.0} s ago", seconds(now) - at));
            if let Some((half, band)) = half {
                words.push_str(&format!("; half predicted at {half:.0} \u{b1} {band:.0} s"));
            }
        }
        self.about("smoke", vec![Span::raw(words)]);
    }
    /// The smoke of the last time, from the release on where there was one; `v` stands over the release, `h` over its
    /// predicted half.
    fn curve(&mut self, now: Instant, view: &View, panel: &Panel, rows: u16) {
        if rows < 2 {
            self.y += rows;
            return;
        }
        let (x, width) = (LABEL as u16, self.buffer.area.width.saturating_sub(LABEL as u16));
        let release = released(now, view, panel);
        let to = seconds(now);
        let (from, to) = match release {
            Some((at, half)) => (at - 5.0, half.map_or(to, |(half, _)| to.max(at + 1.5 * half))),
            None => (to - BACK_S, to),
        };
        let column = |t: f64| ((t - from) / (to - from).max(1.0) * f64::from(width)) as usize;
        let mut columns: Vec<Option<f64>> = vec![None; usize::from(width)];
        for point in view.points.iter().filter(|p| seconds(p.at) >= from) {
            if let (Some(slot), Some(k)) = (columns.get_mut(column(seconds(point.at))), highest(&point.smoke)) {
                *slot = Some(slot.map_or(k, |was| was.max(k)));
            }
        }
        // Where the readings are fewer than the columns, the one before holds until the next.
        let mut last = None;
        let until = column(seconds(now));
        for (i, slot) in columns.iter_mut().enumerate() {
            last = slot.or(last);
            *slot = last.filter(|_| i <= until);
        }
        let high = columns.iter().flatten().copied().fold(0.01, f64::max);
        let bars: Vec<Option<u64>> = columns.iter().map(|k| k.map(|k| (k.max(0.0) / high * 1000.0) as u64)).collect();
        let mut marks = vec![' '; usize::from(width)];
        for (t, mark) in release.iter().flat_map(|(at, half)| [(Some(*at), 'v'), (half.map(|(h, _)| at + h), 'h')]) {
            if let Some(slot) = t.and_then(|t| marks.get_mut(column(t))) {
                *slot = mark;
            }
        }
        self.about(&format!("{high:.2}"), vec![Span::raw(marks.into_iter().collect::<String>())]);
        let area = Rect::new(x, self.y, width, rows - 1).intersection(self.buffer.area);
        Sparkline::default().data(bars).max(1000).absent_value_symbol(" ").render(area, self.buffer);
        self.y += rows - 1;
    }
    /// How many findings there are, and the last.
    fn found(&mut self, view: &View, colour: bool, rows: u16) {
        let mut spans = Vec::new();
        for verdict in [Verdict::Pass, Verdict::Undecided, Verdict::Fail] {
            let n = view.findings.iter().filter(|f| f.verdict == verdict && !f.void).count();
            spans.extend([Span::raw(format!("{n} ")), judged(verdict, colour && n > 0), Span::raw("   ")]);
        }
        let void = view.findings.iter().filter(|f| f.void).count();
        if void > 0 {
            spans.push(Span::raw(format!("{void} void   ")));
        }
        let last = |back: usize| view.findings.iter().rev().filter(|f| !f.void).nth(back);
        if let Some(f) = last(0).filter(|_| rows == 0) {
            spans.push(Span::raw(format!("last: {}: {}", f.subject, f.says)));
        }
        self.about("found", spans);
        for back in (0..usize::from(rows)).rev() {
            match last(back) {
                Some(f) => {
                    let words = Span::raw(format!(" {}: {}", f.subject, f.says));
                    self.about("", vec![judged(f.verdict, colour), words]);
                }
                None => self.y += 1,
            }
        }
    }
    fn doing(&mut self, now: Instant, view: &View) {
        let words = view.doing.as_ref().map(|d| {
            let since = seconds(now) - d.at_us as f64 / 1e6;
            let left = d.left_s.map(|s| format!("{:.0} s left  ", (s - since).max(0.0))).unwrap_or_default();
            let share = d.fraction.map(|f| format!("  {:.0} %", f * 100.0)).unwrap_or_default();
            format!("{left}{}{share}", d.says)
        });
        self.about("now", vec![Span::raw(words.unwrap_or_else(|| "nothing runs".into()))]);
    }
    fn lines(&mut self, view: &View) {
        let lines = view.links.iter().map(|(name, l)| match l.up {
            true => format!("{name}: {}", l.words),
            false => format!("{name}: NO LINK ({})", l.words),
        });
        let here = view.people.iter().filter(|p| p.here).map(|p| format!("{} ({})", p.name, p.role));
        let all: Vec<String> = lines.chain(here).collect();
        let words = if all.is_empty() { "not open yet".to_owned() } else { all.join("   ") };
        self.about("line", vec![Span::raw(words)]);
    }
    /// The question that waits longest, as far as there is room, and what to type.
    fn asked(&mut self, view: &View, panel: &Panel, how: &BTreeMap<u32, String>, rows: u16) {
        let mut waiting = view.asks.values().filter(|a| a.wants != "notice");
        let (oldest, more) = (waiting.next(), waiting.count());
        let Some(ask) = oldest.or(view.asks.values().next()) else {
            return self.about("asked", vec![Span::raw("nothing at the moment")]);
        };
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let more = if more > 0 { format!("  (and {more} more)") } else { String::new() };
        let text: Vec<&str> = ask.text.lines().collect();
        let text = format!("[{}] {}{more}", ask.id, text.join(" "));
        let mut left: &str = &text;
        for row in 1..rows {
            // The last row of the question is cut where there is no room: the whole of it stands above.
            let (first, rest) = broken(left, self.width().saturating_sub(LABEL));
            self.about(if row == 1 { "asked" } else { "" }, vec![Span::styled(first.to_owned(), bold)]);
            left = rest;
        }
        let next = ask.hole.and_then(|hole| {
            let at = panel.site.walk.iter().position(|h| *h == hole).filter(|_| ask.act == "close-hole")?;
            let next = panel.site.walk.get(at + 1)?;
            let place = panel.site.hole(*next).and_then(|h| h.place.as_ref());
            let place = place.map(|p| format!(", {}", visible_line(p))).unwrap_or_default();
            Some(format!("   then {}.{}{place}", next.0, next.1))
        });
        let how = how.get(&ask.id).cloned().unwrap_or_default();
        let words = how + if ask.later { "; later" } else { "" } + &next.unwrap_or_default();
        self.about("type", vec![Span::raw(words)]);
    }
}

/// Up to so many characters, between words where that goes; and the rest.
fn broken(text: &str, width: usize) -> (&str, &str) {
    let Some((cut, _)) = text.char_indices().nth(width) else { return (text, "") };
    let head = text.get(..cut).unwrap_or(text);
    let cut = head.rfind(' ').filter(|at| *at > 0).unwrap_or(cut);
    (text.get(..cut).unwrap_or(text), text.get(cut..).unwrap_or_default().trim_start())
}

fn seconds(at: Instant) -> f64 {
    at.as_micros() as f64 / 1e6
}
fn time(s: f64) -> String {
    clock(Instant::START + Duration::from_secs(s.clamp(0.0, 1e9) as u64))
}
fn highest(of: &[Option<f64>]) -> Option<f64> {
    of.iter().flatten().copied().reduce(f64::max)
}
fn flow_of(pipe: &Pipe, point: Option<&Point>) -> Option<(f64, &'static str)> {
    let point = point?;
    let at = usize::from(pipe.inlet).checked_sub(1)?;
    point.flows.get(at).copied().flatten().map(|q| (q, point.unit))
}
/// The prediction, where the unit's flows are of its kind.
fn predicted(pipe: &Pipe, unit: Option<&str>) -> Option<(f64, f64)> {
    pipe.flow.filter(|_| unit.is_none_or(|unit| unit == "L/min"))
}

/// A verdict's word; the colour says nothing more.
fn judged(verdict: Verdict, colour: bool) -> Span<'static> {
    let of = match verdict {
        Verdict::Pass => Color::Green,
        Verdict::Undecided => Color::Yellow,
        Verdict::Fail => Color::Red,
    };
    Span::styled(verdict.to_string(), if colour { Style::new().fg(of) } else { Style::new() })
}

fn flow(pipe: &Pipe, point: Option<&Point>, colour: bool, short: bool) -> Line<'static> {
    let flow = flow_of(pipe, point);
    let mut spans = vec![Span::styled(format!("pipe {:<2}", pipe.inlet), Style::new().add_modifier(Modifier::DIM))];
    spans.push(Span::styled(
        flow.map_or_else(|| "     -".into(), |(q, _)| format!("{q:6.1}")),
        Style::new().add_modifier(Modifier::BOLD),
    ));
    let unit = flow.map_or("L/min", |(_, unit)| unit);
    let Some((middle, half)) = predicted(pipe, flow.map(|f| f.1)) else {
        spans.push(Span::raw(format!(" {unit}")));
        return Line::from(spans);
    };
    spans.push(Span::raw(match short {
        true => format!(" ({middle:.1} \u{b1} {half:.1})"),
        false => format!(" {unit}, predicted {middle:.1} \u{b1} {half:.1} "),
    }));
    let (word, of) = match flow {
        Some((q, _)) if q < middle - half => ("below", Color::Yellow),
        Some((q, _)) if q > middle + half => ("above", Color::Yellow),
        Some(_) => ("within", Color::Green),
        None => ("", Color::Reset),
    };
    let style = if colour { Style::new().fg(of) } else { Style::new() };
    spans.push(Span::styled(if short { format!(" {word}") } else { format!("{word:<7}") }, style));
    Line::from(spans)
}

/// The band between brackets in the middle half of a scale, the flow as `o`, the prediction as `|`.
fn scale(pipe: &Pipe, point: Option<&Point>, width: usize) -> String {
    let flow = flow_of(pipe, point);
    let Some((middle, half)) = predicted(pipe, flow.map(|f| f.1)).filter(|(_, half)| *half > 0.0) else {
        return String::new();
    };
    let last = width.saturating_sub(1);
    let place = |q: f64| (((q - middle) / (4.0 * half) + 0.5).clamp(0.0, 1.0) * last as f64).round() as usize;
    let mut out = vec!['.'; width];
    let marks = [(middle - half, '['), (middle + half, ']'), (middle, '|')].into_iter();
    for (q, mark) in marks.chain(flow.map(|(q, _)| (q, 'o'))) {
        if let Some(slot) = out.get_mut(place(q)) {
            *slot = mark;
        }
    }
    out.into_iter().collect()
}

/// When smoke was released, while that is of interest, and the predicted time to half of its plateau with its band, s.
fn released(now: Instant, view: &View, panel: &Panel) -> Option<(f64, Option<(f64, f64)>)> {
    let release = view.release.as_ref()?;
    let at = release.at_us as f64 / 1e6;
    let pipe = panel.site.pipes.iter().find(|p| p.inlet == release.hole.0);
    let hole = pipe.and_then(|p| p.holes.iter().find(|h| h.number == release.hole.1));
    (seconds(now) - at <= RELEASE_S).then(|| (at, hole.and_then(|h| h.half_s)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_detector::{driver::Wants, vocabulary::FlowBasis};
    use plumeline_page::site::Hole;
    use plumeline_procedure::{Act, Prompt, plan::HoleRef};
    use plumeline_runtime::session::Outward;

    fn panel(pipes: u8) -> Panel {
        let hole = |number| Hole {
            number,
            words: "hole",
            label: None,
            place: Some(format!("room {number}")),
            along_m: None,
            row: 0.0,
            reachable: true,
            half_s: Some((40.0, 6.0)),
        };
        let pipe = |inlet| Pipe {
            inlet,
            flow: Some((40.0, 2.0)),
            holes: vec![hole(1), hole(2)],
            lines: vec![],
            rings: vec![],
        };
        let site = Site {
            name: String::new(),
            pipes: (1..=pipes).map(pipe).collect(),
            walk: vec![(1, 1), (1, 2)],
            smoke: vec![(1, 2)],
            runs: 3,
            transport_limit_s: 120.0,
        };
        Panel { site, stages: vec!["First".into(), "Second".into()], colour: false }
    }
    fn rows(view: &View, panel: &Panel, now: Instant, (width, height): (u16, u16)) -> Vec<String> {
        let how = BTreeMap::from([(7, "press Enter when done".to_owned())]);
        let mut buffer = Buffer::empty(Rect::new(0, 0, width, height));
        draw(&mut buffer, now, view, panel, &how);
        let row = |y| (0..width).map(|x| buffer[(x, y)].symbol().to_owned()).collect::<String>();
        (0..height).map(row).collect()
    }
    fn asked(text: &str) -> View {
        let mut view = View::default();
        let act = Act::CloseHole(HoleRef { inlet: 1, number: 1 });
        let prompt = Prompt { id: 7, act, text: text.into(), wants: Wants::Done, back: None };
        view.show(Instant::START, &Outward::Ask(prompt));
        view
    }

    #[test]
    fn a_flow_stands_against_its_band_in_words_and_on_a_scale() {
        let mut view = View::default();
        let at = |flow: f64| Point { at: Instant::START, flows: vec![Some(flow)], unit: "L/min", ..point() };
        for (flow, word, scale) in
            [(40.0, "within", ".[.......o......]."), (43.9, "above", "]......o"), (36.1, "below", "o......[")]
        {
            view.points = [at(flow)].into();
            let rows = rows(&view, &panel(1), Instant::START, (80, 10));
            assert!(rows[1].contains(&format!("{flow:.1} L/min, predicted 40.0 \u{b1} 2.0 {word}")), "{rows:#?}");
            assert!(rows[1].contains(scale), "{rows:#?}");
        }
        // A reading that is old, and one of another kind, are held against nothing.
        let old = rows(&view, &panel(1), Instant::from_secs(60), (80, 10));
        assert!(!old[1].contains("36.1") && !old[1].contains("below"), "{old:#?}");
        let share = Point { unit: plumeline_detector::vocabulary::OF_NORMAL, ..at(98.0) };
        view.points = [share].into();
        let other = rows(&view, &panel(1), Instant::START, (80, 10));
        assert!(other[1].contains("98.0 % of") && !other[1].contains("predicted"), "{other:#?}");
    }
    fn point() -> Point {
        let mut view = View::default();
        let reading = plumeline_detector::Reading::default();
        view.reading(&reading, FlowBasis::Actual);
        view.points.pop_back().unwrap()
    }
    #[test]
    fn the_question_and_what_to_type_stand_last_at_any_size_and_the_next_hole_is_named() {
        let view = asked(
            "Close hole 1 of pipe 1\nwith a cap\u{1b}[2J, and then wait until what is asked next is asked, which may take",
        );
        for pipes in [1, 3, 4, 6, 16] {
            for size in [(40, 10), (80, 10), (120, 17), (300, 17)] {
                let rows = rows(&view, &panel(pipes), Instant::START, size);
                let last = rows.last().unwrap();
                assert!(last.starts_with("type   press Enter when done"), "{rows:#?}");
                assert!(size.0 == 40 || last.contains("; later   then 1.2, room 2"), "{rows:#?}");
                assert!(rows.iter().any(|r| r.starts_with("asked  [7] Close hole 1")), "{rows:#?}");
                assert!(!rows.concat().contains(char::is_control));
            }
        }
    }
    #[test]
    fn nothing_breaks_however_small_it_is() {
        let view = asked("Close");
        for size in [(0, 0), (1, 1), (3, 10), (10, 3), (80, 1), (7, 17), (8, 17)] {
            assert_eq!(rows(&view, &panel(4), Instant::START, size).len(), usize::from(size.1));
        }
    }
    #[test]
    fn words_are_broken_between_words() {
        assert_eq!(broken("one two three", 8), ("one two", "three"));
        assert_eq!(broken("\u{e9}\u{e9}\u{e9}\u{e9}", 3), ("\u{e9}\u{e9}\u{e9}", "\u{e9}"));
        assert_eq!(broken("one", 3), ("one", ""));
    }
}
