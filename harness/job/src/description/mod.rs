//! Device descriptions: what a model of unit has and what each of its settings means, as a TOML file, so that settings
//! are carried over by description and not by code.
//!
//! Not here: the carrying over (the carry crate).
mod check;
mod display;
mod lines;
mod means;
mod raw;
mod raw_lines;
mod raw_registers;
mod registers;

use crate::{
    TEXT_LIMIT,
    error::{Problem, Source},
    written,
};
use plumeline_unit::Description;

/// The version of the format that is read and written.
pub const FORMAT: i64 = 1;
/// Most settings of a model.
pub const MAX_ITEMS: usize = 2000;

/// The descriptions that come with the tool, by file name without its ending. All of them are invented.
pub const SHIPPED: [(&str, &str); 8] = [
    ("model-a", include_str!("../../descriptions/model-a.toml")),
    ("model-b", include_str!("../../descriptions/model-b.toml")),
    ("model-c", include_str!("../../descriptions/model-c.toml")),
    ("model-d", include_str!("../../descriptions/model-d.toml")),
    ("model-e", include_str!("../../descriptions/model-e.toml")),
    ("model-f", include_str!("../../descriptions/model-f.toml")),
    ("model-g", include_str!("../../descriptions/model-g.toml")),
    ("model-h", include_str!("../../descriptions/model-h.toml")),
];

/// The format's JSON Schema, as text.
#[cfg(feature = "schema")]
pub(crate) fn schema() -> String {
    crate::schema::of_toml::<raw::File>()
}

/// Reads a description. `name` is what messages call it.
///
/// # Errors
/// The first thing that is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<Description, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let file: raw::File = written::from_toml(&source)?;
    written::version(&source, &file.format, FORMAT)?;
    check::check(&source, &file)
}
