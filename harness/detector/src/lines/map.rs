//! What stands where in the lines that a unit or an instrument prints, and what it says.
//!
//! A template is the line as it is printed, with a named piece where a value stands: text must be there, blanks count as one,
//! a piece ends where the text behind it first comes. That covers delimiters, columns and labelled values, reads like the line
//! itself, and needs no language of patterns. Built and checked where descriptions are read (the job crate). Not here: lines
//! that arrive ([`super::Lines`]).
use crate::{
    told::{Flag, Quantity, Si, Who},
    vocabulary::FlowBasis,
};
use alloc::{string::String, vec::Vec};
use core::time::Duration;

/// The lines of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// The first kind of line comes this often.
    pub every: Duration,
    /// Maker by the description.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Alarm levels, outputs and inputs of the model.
    pub has: (u8, u8, u8),
    /// What its flow readings refer to.
    pub basis: FlowBasis,
    /// Kinds of line, at least one: each of the first kind makes a reading.
    pub lines: Vec<Template>,
    /// What the pieces say.
    pub fields: Vec<Field>,
}

/// A kind of line.
#[derive(Clone, Debug, PartialEq)]
pub struct Template(pub Vec<Part>);

/// A part of a template.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// This text; any blanks count as one.
    Text(String),
    /// The field at this place in the map.
    Field(usize),
    /// Anything.
    Skip,
}

/// What a piece says.
#[derive(Clone, Debug, PartialEq)]
pub enum Field {
    /// A number.
    Number(Number),
    /// A text.
    Text(Who),
    /// One of these words, each with what stands when it is printed. Whatever is not named with it does not stand.
    Words(Vec<(String, Vec<Flag>)>),
    /// A number whose bits stand for something.
    Bits {
        /// 2, 10 or 16.
        base: u32,
        /// Bit from 0, the lowest, and what it stands for.
        bits: Vec<(u8, Flag)>,
    },
}

/// A number: it stands for `printed * scale + offset`.
#[derive(Clone, Debug, PartialEq)]
pub struct Number {
    /// What it is.
    pub quantity: Quantity,
    /// Factor.
    pub scale: f64,
    /// Added to it.
    pub offset: f64,
    /// What is printed where there is no reading; nothing at all counts as that too.
    pub none: Option<String>,
    /// Step in which it is printed, as it is printed.
    pub step: f64,
    /// From the stated unit to SI.
    pub si: Si,
}

impl Map {
    /// The number of this meaning, with its place among the fields.
    pub(super) fn number(&self, what: Quantity) -> Option<(usize, &Number)> {
        self.fields.iter().enumerate().find_map(|(i, field)| match field {
            Field::Number(n) if n.quantity == what => Some((i, n)),
            _ => None,
        })
    }
    /// Inlets whose flow is told.
    pub fn inlets(&self) -> u8 {
        let of = |field: &Field| match field {
            Field::Number(Number { quantity: Quantity::Flow(n), .. }) => *n,
            _ => 0,
        };
        self.fields.iter().map(of).max().unwrap_or(0)
    }
}

impl Template {
    /// The pieces of a line of this kind; `None` if it is of another.
    pub(super) fn pieces<'l>(&self, line: &'l str) -> Option<Vec<(usize, &'l str)>> {
        let mut rest = line.trim();
        let mut pieces = Vec::new();
        let mut parts = self.0.iter().peekable();
        while let Some(part) = parts.next() {
            let field = match part {
                Part::Text(text) => {
                    rest = after(rest, text)?;
                    continue;
                }
                Part::Field(field) => Some(*field),
                Part::Skip => None,
            };
            rest = rest.trim_start();
            let end = match parts.peek() {
                Some(Part::Text(text)) => {
                    rest.char_indices().map(|(i, _)| i).find(|i| after(&rest[*i..], text).is_some())?
                }
                _ => rest.len(),
            };
            let (piece, left) = rest.split_at(end);
            pieces.extend(field.map(|field| (field, piece.trim())));
            rest = left;
        }
        rest.trim().is_empty().then_some(pieces)
    }
}

/// What comes after this text at the beginning of a line; `None` if it does not begin so.
fn after<'l>(line: &'l str, text: &str) -> Option<&'l str> {
    let mut rest = line;
    let mut text = text.chars().peekable();
    while let Some(c) = text.next() {
        if c.is_whitespace() {
            while text.next_if(|c| c.is_whitespace()).is_some() {}
            let trimmed = rest.trim_start();
            if trimmed.len() == rest.len() && !rest.is_empty() {
                return None;
            }
            rest = trimmed;
        } else {
            rest = rest.strip_prefix(c)?;
        }
    }
    Some(rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    fn pieces(parts: Vec<Part>, line: &str) -> Option<Vec<&str>> {
        Template(parts).pieces(line).map(|p| p.into_iter().map(|(_, text)| text).collect())
    }
    fn text(t: &str) -> Part {
        Part::Text(t.into())
    }

    #[test]
    fn lines_with_delimiters_columns_and_labels_are_taken_apart() {
        use Part::{Field, Skip};
        let csv = || vec![Skip, text(","), Field(0), text(","), Field(1)];
        assert_eq!(pieces(csv(), "12:00:01, 32.1,33.0"), Some(vec!["32.1", "33.0"]));
        assert_eq!(pieces(csv(), "12:00:01,,"), Some(vec!["", ""]));
        assert_eq!(pieces(csv(), "12:00:01,32.1"), None);
        let columns = || vec![Field(0), text(" "), Field(1), text(" "), Skip];
        assert_eq!(pieces(columns(), "   32.1      33.0  OK all"), Some(vec!["32.1", "33.0"]));
        let labels = || vec![text("F1="), Field(0), text(" L F2="), Field(1), text(" L")];
        assert_eq!(pieces(labels(), "F1= 32.1  L F2=33.0 L"), Some(vec!["32.1", "33.0"]));
        for other in ["F1=32.1 L F3=33.0 L", "F1=32.1 L F2=33.0", "XF1=1 L F2=2 L", "", "F1=1 L F2=2 L more"] {
            assert_eq!(pieces(labels(), other), None, "{other}");
        }
    }
    #[test]
    fn a_line_of_any_bytes_does_no_harm() {
        let t = || vec![text("é "), Part::Field(0), text("%"), Part::Skip];
        for line in ["é 1% ß", "é", "\u{0}é %", "ßßß", "é \u{fffd}%"] {
            pieces(t(), line);
        }
    }
}
