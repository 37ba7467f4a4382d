//! Text from outside (a unit, a file, a port, an argument) made fit to be shown: nothing in it can steer a terminal, turn the
//! direction of text, break a line of ours or break XML. Every text on its way to a terminal or a page goes through here.
//!
//! Not here: the record, which keeps what was told as it was told; how HTML and SVG are written.
use alloc::{borrow::Cow, format};

/// Shown only by its number: control characters (C0, DEL, C1), what turns the direction of text, what breaks a line, what is no
/// character, and what can't be seen at all.
fn is_hidden(c: char) -> bool {
    let bidi = matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let unseen = matches!(c, '\u{200b}' | '\u{2028}' | '\u{2029}' | '\u{fff9}'..='\u{fffb}' | '\u{feff}' | '\u{e0000}'..='\u{e007f}');
    c.is_control() || bidi || unseen || u32::from(c) & 0xFFFE == 0xFFFE
}

fn shown(text: &str, keep: fn(char) -> bool) -> Cow<'_, str> {
    let hidden = |c: char| is_hidden(c) && !keep(c);
    if !text.contains(hidden) {
        return Cow::Borrowed(text);
    }
    let write = |c: char| if hidden(c) { Cow::Owned(number(c)) } else { Cow::Owned(c.into()) };
    Cow::Owned(text.chars().map(write).collect())
}

/// As JSON writes it, so that JSON shown like this still holds the same text.
fn number(c: char) -> alloc::string::String {
    let mut units = [0; 2];
    c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")).collect()
}

/// One line of text: line breaks and tabs in it are no more than characters that can't be seen.
pub fn visible_line(text: &str) -> Cow<'_, str> {
    shown(text, |_| false)
}

/// Text of several lines.
pub fn visible(text: &str) -> Cow<'_, str> {
    shown(text, |c| matches!(c, '\n' | '\t'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_steers_a_terminal_or_turns_text() {
        let hostile = "\u{1b}[2J\u{7}\u{9b}31m\u{202e}txt.exe\u{2066}\u{200f}\u{feff}\r\u{85}\u{7f}\u{e0041}";
        let shown = visible_line(hostile);
        assert!(!shown.contains(is_hidden), "{shown}");
        assert_eq!(visible_line("\u{1b}]0;x\u{7}"), "\\u001b]0;x\\u0007");
        assert_eq!(visible_line("one\ntwo"), "one\\u000atwo");
        assert_eq!(visible("one\n\ttwo\r"), "one\n\ttwo\\u000d");
        assert_eq!(visible_line("\u{e0041}"), "\\udb40\\udc41");
    }
    #[test]
    fn plain_text_of_any_language_stays() {
        for text in ["20 °C, 0.2 %/m", "Größe", "日本", "עברית", "\u{1f525}", ""] {
            assert!(matches!(visible_line(text), Cow::Borrowed(t) if t == text));
        }
    }
}
