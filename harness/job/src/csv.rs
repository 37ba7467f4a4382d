//! The one reader of CSV (RFC 4180): the cells of a text row by row, each with its place.
//!
//! The separator is the first of comma, semicolon and tab that the first row contains. Blank rows and lines that begin
//! with `#` are left out. Not here: what the cells mean.
use crate::error::{Kind, Problem, Source};
use csv_core::{ReadFieldResult, Reader, ReaderBuilder};
use std::{borrow::Cow, ops::Range};

/// A cell: its text without quotes and without blanks around it, and where it stands.
#[derive(Clone, Debug)]
pub struct Cell<'a> {
    /// What is written.
    pub text: Cow<'a, str>,
    /// Where, bytes of the text.
    pub span: Range<usize>,
}

/// The rows of a text.
pub fn rows<'a>(source: &'a Source<'a>) -> Rows<'a> {
    let mut rows = Rows { source, reader: Reader::new(), by_commas: false, at: 0 };
    rows.skip_remarks();
    let first = source.text().get(rows.at..).and_then(|t| t.lines().next()).unwrap_or_default();
    let separator = [b',', b';', b'\t'].into_iter().find(|c| first.as_bytes().contains(c)).unwrap_or(b',');
    rows.by_commas = separator == b',';
    rows.reader = ReaderBuilder::new().delimiter(separator).build();
    rows
}

impl Rows<'_> {
    /// Whether the comma stands between cells, so that it is no decimal mark.
    pub fn by_commas(&self) -> bool {
        self.by_commas
    }
}

/// Where a row stands.
pub fn span(row: &[Cell<'_>]) -> Range<usize> {
    let (first, last) = (row.first(), row.last());
    first.map_or(0, |c| c.span.start)..last.map_or(0, |c| c.span.end)
}

/// See [`rows`].
#[derive(Debug)]
pub struct Rows<'a> {
    source: &'a Source<'a>,
    reader: Reader,
    by_commas: bool,
    /// Everything before is read.
    at: usize,
}
impl<'a> Rows<'a> {
    fn rest(&self) -> &'a str {
        self.source.text().get(self.at..).unwrap_or_default()
    }
    /// Goes on to the next line that has a row.
    fn skip_remarks(&mut self) {
        loop {
            let rest = self.rest();
            let line = rest.trim_start_matches([' ', '\r', '\n']);
            self.at += rest.len() - line.len();
            if !line.starts_with('#') {
                return;
            }
            self.at += line.find('\n').unwrap_or(line.len());
        }
    }
    /// The next cell, and whether it is the last of its row.
    fn cell(&mut self) -> Result<(Cell<'a>, bool), Problem> {
        let rest = self.rest();
        // A quote may stand behind blanks.
        let start = self.at + rest.len() - rest.trim_start_matches(' ').len();
        self.at = start;
        let mut text = [0; 256];
        let (ends_row, at_end) = loop {
            let rest = self.rest().as_bytes();
            let (result, read, _) = self.reader.read_field(rest, &mut text);
            self.at += read;
            match result {
                ReadFieldResult::Field { record_end } => break (record_end, rest.is_empty()),
                ReadFieldResult::End => break (true, true),
                // The text is taken from the source: what the reader copies is not needed.
                ReadFieldResult::InputEmpty | ReadFieldResult::OutputFull => {}
            }
        };
        let end = if at_end { self.at } else { self.at.saturating_sub(1).max(start) };
        let span = start..end;
        let written = self.source.text().get(span.clone()).unwrap_or_default().trim();
        let text = match written.strip_prefix('"') {
            None => Some(written).filter(|t| !t.contains('"')).map(Cow::from),
            Some(quoted) => quoted
                .strip_suffix('"')
                .filter(|t| !t.replace("\"\"", "").contains('"'))
                .map(|t| t.trim().replace("\"\"", "\"").into()),
        };
        let Some(text) = text else {
            let remedy = "quote whole cells only, and write a quotation mark within one twice";
            return Err(self.source.problem(
                Kind::Syntax,
                span,
                "the quotation marks of this cell do not match",
                remedy,
            ));
        };
        Ok((Cell { text, span }, ends_row))
    }
}
impl<'a> Iterator for Rows<'a> {
    type Item = Result<Vec<Cell<'a>>, Problem>;
    fn next(&mut self) -> Option<Self::Item> {
        loop {
            self.skip_remarks();
            if self.rest().is_empty() {
                return None;
            }
            let mut row = Vec::new();
            loop {
                match self.cell() {
                    Ok((cell, ends_row)) => {
                        row.push(cell);
                        if ends_row {
                            break;
                        }
                    }
                    Err(problem) => {
                        self.at = self.source.text().len();
                        return Some(Err(problem));
                    }
                }
            }
            if row.iter().any(|c| !c.text.is_empty()) {
                return Some(Ok(row));
            }
        }
    }
}
