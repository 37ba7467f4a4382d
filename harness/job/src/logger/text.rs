//! A logger's bytes as text: which encoding they are in, lines, and the cells of a line. Not here: what the cells mean.
use crate::error::{Kind, Problem, quoted};
use csv_core::{ReadFieldResult, Reader, ReaderBuilder};
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use std::borrow::Cow;

/// Bytes by which the encoding is looked for where neither a mark nor valid UTF-8 says it.
const LOOKED_AT: usize = 4096;

/// The text of a file, without a byte order mark, and the name of its encoding.
pub(super) fn decode<'a>(
    name: &str,
    bytes: &'a [u8],
    stated: Option<&str>,
) -> Result<(Cow<'a, str>, &'static str), Problem> {
    let not_text = |cause: &str, remedy: &str| Problem::with_file(Kind::NotText, name, cause, remedy);
    let stated = match stated {
        Some(label) => Some(Encoding::for_label(label.as_bytes()).ok_or_else(|| {
            let cause = format!("{} is no encoding of text that is known", quoted(label));
            not_text(&cause, "write its usual name, such as utf-8, windows-1252, iso-8859-15, utf-16le, shift_jis")
        })?),
        None => None,
    };
    if [&b"PK\x03\x04"[..], b"\xd0\xcf\x11\xe0", b"%PDF", b"\x1f\x8b"].iter().any(|magic| bytes.starts_with(magic)) {
        let cause = "this is a spreadsheet, an archive or a document, not a text of readings";
        return Err(not_text(cause, "export the readings as CSV or text with the program that made the file"));
    }
    let (encoding, mark) = match (Encoding::for_bom(bytes), stated) {
        (Some((encoding, length)), _) => (encoding, length),
        (None, Some(encoding)) => (encoding, 0),
        (None, None) => (guess(bytes), 0),
    };
    let (text, bad) = encoding.decode_without_bom_handling(&bytes[mark..]);
    if bad {
        let cause = format!("some bytes are no {} text", encoding.name());
        return Err(not_text(&cause, "state the right one with --encoding, or save the file as UTF-8"));
    }
    if text.bytes().take(LOOKED_AT).any(|b| b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c | 0x1a)) {
        return Err(not_text("this is no text", "give the file that the logger exported as text or CSV"));
    }
    Ok((text, encoding.name()))
}

/// UTF-16 shows by the zero bytes of its plain letters, UTF-8 by its own rules; the rest is taken for Windows-1252, of which
/// Latin-1 is a part.
fn guess(bytes: &[u8]) -> &'static Encoding {
    let head = &bytes[..bytes.len().min(LOOKED_AT)];
    let zeros = |from: usize| head.iter().skip(from).step_by(2).filter(|b| **b == 0).count();
    let (high_first, low_first, pairs) = (zeros(0), zeros(1), head.len() / 2);
    if 2 * low_first > pairs && high_first < low_first / 8 {
        return UTF_16LE;
    }
    if 2 * high_first > pairs && low_first < high_first / 8 {
        return UTF_16BE;
    }
    if str::from_utf8(bytes).is_ok() { UTF_8 } else { WINDOWS_1252 }
}

/// Where the lines of a text stand, without what ends them: `\n`, `\r\n`, or `\r` where there is no other.
pub(super) fn lines(text: &str) -> Vec<(usize, usize)> {
    let end = if text.contains('\n') { b'\n' } else { b'\r' };
    let bytes = text.as_bytes();
    let mut all = Vec::new();
    let mut start = 0;
    while start < bytes.len() {
        let stop = bytes[start..].iter().position(|b| *b == end).map_or(bytes.len(), |at| start + at);
        let line = text[start..stop].trim_end_matches(['\r', '\u{1a}']);
        all.push((start, start + line.len()));
        start = stop + 1;
    }
    all
}

/// What stands between the cells of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Separator {
    /// One character.
    Char(u8),
    /// Any number of blanks.
    Blanks,
}
impl Separator {
    /// All that are looked for, the likelier first.
    pub(super) const ALL: [Self; 5] =
        [Self::Char(b'\t'), Self::Char(b';'), Self::Char(b'|'), Self::Char(b','), Self::Blanks];
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Char(b'\t') => "tab",
            Self::Char(b';') => "semicolon",
            Self::Char(b'|') => "bar",
            Self::Char(b',') => "comma",
            Self::Char(_) => "other",
            Self::Blanks => "blanks",
        }
    }
}

/// A cell without quotes and blanks around it, and the byte of the line where it begins.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell<'a> {
    pub(super) text: Cow<'a, str>,
    pub(super) at: usize,
}

/// The cells of a line, into `out`; `false` where the quotation marks do not match.
pub(super) fn cells<'a>(line: &'a str, separator: Separator, out: &mut Vec<Cell<'a>>) -> bool {
    out.clear();
    let mut push = |from: usize, text: &'a str| {
        let left = text.trim_start();
        out.push(Cell { text: left.trim_end().into(), at: from + text.len() - left.len() });
    };
    match separator {
        Separator::Blanks => {
            let mut from = None;
            for (i, c) in line.char_indices().chain([(line.len(), ' ')]) {
                match (c == ' ' || c == '\t', from) {
                    (true, Some(start)) => {
                        push(start, &line[start..i]);
                        from = None;
                    }
                    (false, None) => from = Some(i),
                    _ => {}
                }
            }
            true
        }
        Separator::Char(by) if line.contains('"') => quoted_cells(line, by, out),
        Separator::Char(by) => {
            let mut from = 0;
            for cell in line.split(char::from(by)) {
                push(from, cell);
                from += cell.len() + 1;
            }
            true
        }
    }
}

fn quoted_cells<'a>(line: &'a str, by: u8, out: &mut Vec<Cell<'a>>) -> bool {
    let mut reader: Reader = ReaderBuilder::new().delimiter(by).build();
    let (bytes, mut at, mut text) = (line.as_bytes(), 0, vec![0; line.len() + 1]);
    loop {
        // A quote may stand behind blanks.
        while bytes.get(at) == Some(&b' ') {
            at += 1;
        }
        let (start, mut written) = (at, 0);
        let ended = loop {
            let (result, read, wrote) = reader.read_field(&bytes[at..], &mut text[written..]);
            at += read;
            written += wrote;
            match result {
                ReadFieldResult::Field { record_end } => break record_end,
                ReadFieldResult::End => break true,
                ReadFieldResult::InputEmpty if at < bytes.len() => {}
                ReadFieldResult::InputEmpty => {
                    // The end of the line ends the cell; an open quotation mark swallows it.
                    let (result, ..) = reader.read_field(b"\n", &mut text[written..]);
                    if !matches!(result, ReadFieldResult::Field { .. }) {
                        return false;
                    }
                    break true;
                }
                ReadFieldResult::OutputFull => return false,
            }
        };
        let cell = String::from_utf8_lossy(&text[..written]).trim().to_owned();
        out.push(Cell { text: cell.into(), at: start });
        if ended {
            return true;
        }
    }
}
