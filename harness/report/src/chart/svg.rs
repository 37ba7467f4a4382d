//! A writer of SVG elements that escapes every text. Looks come from classes, see the page's style sheet.
use crate::words::clean;
use core::fmt::Write;

/// Width of a character of the charts' 12 px text, px; a little generous.
const CHARACTER: f64 = 6.6;

/// About how wide a text is, px.
pub(crate) fn text_width(s: &str) -> f64 {
    s.chars().count() as f64 * CHARACTER
}

/// A text cut to fit into a width, px.
pub(crate) fn fitted(s: &str, width: f64) -> String {
    let room = (width / CHARACTER + 1e-9).max(0.0) as usize;
    if s.chars().count() <= room {
        return s.to_owned();
    }
    match room {
        0 => String::new(),
        _ => s.chars().take(room - 1).chain(['…']).collect(),
    }
}

/// Appends `s` with the five characters that mean something in XML replaced.
fn escape(out: &mut String, s: &str) {
    for c in clean(s).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
}

/// An SVG image being written. Writing to a `String` can't fail, so results of `write!` are not looked at.
pub(crate) struct Svg {
    body: String,
}

/// Where a text is anchored.
#[derive(Clone, Copy)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

impl Svg {
    pub(crate) fn new() -> Self {
        Self { body: String::new() }
    }
    pub(crate) fn rect(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        let (w, h) = (width.max(0.0), height.max(0.0));
        let _ = writeln!(self.body, r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{w:.1}" height="{h:.1}"/>"#);
    }
    pub(crate) fn line(&mut self, class: &str, x1: f64, y1: f64, x2: f64, y2: f64) {
        let _ = writeln!(self.body, r#"<line class="{class}" x1="{x1:.1}" y1="{y1:.1}" x2="{x2:.1}" y2="{y2:.1}"/>"#);
    }
    pub(crate) fn circle(&mut self, class: &str, x: f64, y: f64, r: f64) {
        let _ = writeln!(self.body, r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="{r:.1}"/>"#);
    }
    /// Unbroken lines, one for each stretch; a stretch of one point becomes a dot.
    pub(crate) fn path(&mut self, class: &str, stretches: impl IntoIterator<Item = Vec<(f64, f64)>>) {
        let mut d = String::new();
        for stretch in stretches {
            for (k, (x, y)) in stretch.iter().enumerate() {
                let _ = write!(d, "{}{x:.1} {y:.1}", if k == 0 { 'M' } else { 'L' });
            }
            if stretch.len() == 1 {
                d.push_str("h.1");
            }
        }
        if !d.is_empty() {
            let _ = writeln!(self.body, r#"<path class="{class}" d="{d}"/>"#);
        }
    }
    pub(crate) fn text(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, s: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let _ = write!(self.body, r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">"#);
        escape(&mut self.body, s);
        self.body.push_str("</text>\n");
    }
    /// The whole image. `id` must be unique on its page and plain.
    pub(crate) fn finish(self, id: &str, width: f64, height: f64, title: &str, desc: &str) -> String {
        let mut out = String::with_capacity(self.body.len() + 512);
        let _ = write!(
            out,
            r#"<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d"><title id="{id}-t">"#
        );
        escape(&mut out, title);
        let _ = write!(out, r#"</title><desc id="{id}-d">"#);
        escape(&mut out, desc);
        out.push_str("</desc>\n");
        out.push_str(&self.body);
        out.push_str("</svg>\n");
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_escaped() {
        let mut svg = Svg::new();
        svg.text("a", 1.0, 2.0, Anchor::Middle, "<script>\"&'\0");
        let s = svg.finish("c1", 10.0, 20.0, "</title>", "a & b");
        assert!(s.contains("&lt;script&gt;&quot;&amp;&#39;\u{fffd}</text>"));
        assert!(s.contains("&lt;/title&gt;</title>") && s.contains("a &amp; b</desc>"));
    }
    #[test]
    fn a_lone_point_is_a_dot_and_stretches_start_anew() {
        let mut svg = Svg::new();
        svg.path("p", [vec![(1.0, 2.0)], vec![(3.0, 4.0), (5.0, 6.0)]]);
        assert_eq!(svg.body, "<path class=\"p\" d=\"M1.0 2.0h.1M3.0 4.0L5.0 6.0\"/>\n");
    }
    #[test]
    fn long_texts_are_cut() {
        assert_eq!(fitted("abcdef", 6.6 * 6.0), "abcdef");
        assert_eq!(fitted("abcdefg", 6.6 * 6.0), "abcde…");
        assert_eq!(fitted("abc", 1.0), "");
    }
}
