//! The one writer of SVG: elements whose looks come from classes of a style sheet, and whose every text is escaped.
//!
//! Not here: what is drawn, and the style sheets; see the charts of the report and the drawing of a prediction.
use crate::words::clean;
use core::fmt::{Arguments, Write as _};

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

/// Where a text is anchored.
#[derive(Clone, Copy, Debug)]
pub enum Anchor {
    /// It begins at its point.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// An SVG image being written.
#[derive(Debug)]
pub struct Svg {
    body: String,
    /// Decimals of coordinates.
    decimals: usize,
}

impl Svg {
    /// An empty image whose coordinates have so many decimals.
    pub const fn new(decimals: usize) -> Self {
        Self { body: String::new(), decimals }
    }
    fn put(&mut self, element: Arguments<'_>) {
        // Writing to a `String` can't fail.
        let _ = writeln!(self.body, "{element}");
    }
    /// A rectangle; a negative extent is none.
    pub fn rect(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        let (w, h, d) = (width.max(0.0), height.max(0.0), self.decimals);
        self.put(format_args!(r#"<rect class="{class}" x="{x:.d$}" y="{y:.d$}" width="{w:.d$}" height="{h:.d$}"/>"#));
    }
    /// A straight line.
    pub fn line(&mut self, class: &str, x1: f64, y1: f64, x2: f64, y2: f64) {
        let d = self.decimals;
        self.put(format_args!(r#"<line class="{class}" x1="{x1:.d$}" y1="{y1:.d$}" x2="{x2:.d$}" y2="{y2:.d$}"/>"#));
    }
    /// A circle.
    pub fn circle(&mut self, class: &str, x: f64, y: f64, r: f64) {
        let d = self.decimals;
        self.put(format_args!(r#"<circle class="{class}" cx="{x:.d$}" cy="{y:.d$}" r="{r:.d$}"/>"#));
    }
    /// Unbroken lines, one for each stretch; a stretch of one point becomes a dot.
    pub fn path(&mut self, class: &str, stretches: impl IntoIterator<Item = Vec<(f64, f64)>>) {
        let (mut path, d) = (String::new(), self.decimals);
        for stretch in stretches {
            for (k, (x, y)) in stretch.iter().enumerate() {
                let _ = write!(path, "{}{x:.d$} {y:.d$}", if k == 0 { 'M' } else { 'L' });
            }
            if stretch.len() == 1 {
                path.push_str("h.1");
            }
        }
        if !path.is_empty() {
            self.put(format_args!(r#"<path class="{class}" d="{path}"/>"#));
        }
    }
    /// A text.
    pub fn text(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, s: &str) {
        let d = self.decimals;
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let _ = write!(self.body, r#"<text class="{class}" x="{x:.d$}" y="{y:.d$}" text-anchor="{anchor}">"#);
        escape(&mut self.body, s);
        self.body.push_str("</text>\n");
    }
    /// A text that reads upward, its middle at the point.
    pub fn upward(&mut self, class: &str, x: f64, y: f64, s: &str) {
        let d = self.decimals;
        let _ = writeln!(self.body, r#"<g transform="translate({x:.d$} {y:.d$}) rotate(-90)">"#);
        self.text(class, 0.0, 0.0, Anchor::Middle, s);
        self.body.push_str("</g>\n");
    }
    /// The whole image, for a page that has the style sheet. `id` must be unique on the page and plain.
    pub fn on_page(self, id: &str, width: f64, height: f64, title: &str, desc: &str) -> String {
        self.finish(r#"class="chart""#, "", id, (width, height), title, desc)
    }
    /// A document of its own, `width` by `height` mm, with its style sheet; the class `page` is its background.
    pub fn document(self, width: f64, height: f64, title: &str, desc: &str, style: &str) -> String {
        let size = format!(r#"width="{width:.0}mm" height="{height:.0}mm""#);
        let style = format!("<style>{style}</style>\n<rect class=\"page\" width=\"100%\" height=\"100%\"/>\n");
        let image = self.finish(&size, &style, "drawing", (width, height), title, desc);
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{image}")
    }
    fn finish(self, attributes: &str, style: &str, id: &str, size: (f64, f64), title: &str, desc: &str) -> String {
        let mut out = String::with_capacity(self.body.len() + 512);
        let (width, height) = size;
        let _ = write!(
            out,
            r#"<svg {attributes} xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d"><title id="{id}-t">"#
        );
        escape(&mut out, title);
        let _ = write!(out, r#"</title><desc id="{id}-d">"#);
        escape(&mut out, desc);
        let _ = write!(out, "</desc>\n{style}{}</svg>\n", self.body);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_escaped() {
        let mut svg = Svg::new(1);
        svg.text("a", 1.0, 2.0, Anchor::Middle, "<script>\"&'\0");
        let s = svg.on_page("c1", 10.0, 20.0, "</title>", "a & b");
        assert!(s.contains("&lt;script&gt;&quot;&amp;&#39;\\u0000</text>"));
        assert!(s.contains("&lt;/title&gt;</title>") && s.contains("a &amp; b</desc>"));
    }
    #[test]
    fn a_lone_point_is_a_dot_and_stretches_start_anew() {
        let mut svg = Svg::new(1);
        svg.path("p", [vec![(1.0, 2.0)], vec![(3.0, 4.0), (5.0, 6.0)]]);
        assert_eq!(svg.body, "<path class=\"p\" d=\"M1.0 2.0h.1M3.0 4.0L5.0 6.0\"/>\n");
    }
}
