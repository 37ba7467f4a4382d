//! The few marks that a drawing is made of, as SVG in millimetres, black on white. Everything that comes from a file is
//! escaped.
use std::fmt::{Display, Write};

/// Where a text hangs from its point.
#[derive(Clone, Copy)]
pub(super) enum At {
    Start,
    Middle,
    End,
}

/// The marks drawn so far.
#[derive(Default)]
pub(super) struct Svg {
    body: String,
}

impl Svg {
    fn put(&mut self, text: std::fmt::Arguments<'_>) {
        // Writing to a string can't fail.
        let _ = self.body.write_fmt(text);
        self.body.push('\n');
    }
    pub(super) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), width: f64) {
        self.put(format_args!(
            r##"<path d="M{x1:.2} {y1:.2}L{x2:.2} {y2:.2}" fill="none" stroke="#000" stroke-width="{width}"/>"##
        ));
    }
    pub(super) fn circle(&mut self, (x, y): (f64, f64), radius: f64, filled: bool) {
        let fill = if filled { "#000" } else { "#fff" };
        self.put(format_args!(
            r##"<circle cx="{x:.2}" cy="{y:.2}" r="{radius}" fill="{fill}" stroke="#000" stroke-width="0.35"/>"##
        ));
    }
    pub(super) fn rect(&mut self, (x, y): (f64, f64), width: f64, height: f64) {
        self.put(format_args!(
            r##"<rect x="{x:.2}" y="{y:.2}" width="{width:.2}" height="{height:.2}" fill="#fff" stroke="#000" stroke-width="0.5"/>"##
        ));
    }
    pub(super) fn text(&mut self, (x, y): (f64, f64), at: At, size: f64, bold: bool, text: impl Display) {
        let anchor = match at {
            At::Start => "start",
            At::Middle => "middle",
            At::End => "end",
        };
        let weight = if bold { r#" font-weight="bold""# } else { "" };
        let text = escape(&text.to_string());
        self.put(format_args!(
            r#"<text x="{x:.2}" y="{y:.2}" text-anchor="{anchor}" font-size="{size}"{weight}>{text}</text>"#
        ));
    }
    /// A text that reads upward.
    pub(super) fn upward(&mut self, (x, y): (f64, f64), size: f64, text: impl Display) {
        let text = escape(&text.to_string());
        self.put(format_args!(
            r#"<text transform="translate({x:.2} {y:.2}) rotate(-90)" text-anchor="middle" font-size="{size}">{text}</text>"#
        ));
    }
    /// The whole document, `width` x `height` mm.
    pub(super) fn finish(self, width: f64, height: f64, title: &str, says: &str) -> String {
        let (title, says) = (escape(title), escape(says));
        format!(
            r##"<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0}mm" height="{height:.0}mm" viewBox="0 0 {width:.0} {height:.0}" font-family="sans-serif" fill="#000" role="img">
<title>{title}</title>
<desc>{says}</desc>
<rect width="100%" height="100%" fill="#fff"/>
{}</svg>
"##,
            self.body
        )
    }
}

/// Text as XML 1.0 can hold it: no markup, no control characters.
fn escape(s: &str) -> String {
    let mut out = String::with_capacity(s.len());
    for c in s.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}
