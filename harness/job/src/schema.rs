//! JSON Schemas (draft 2020-12) of the documents that scripts write and read, made from the types that read them.
//! They are kept under `docs/schemas`; a test fails when one there is out of date.
//!
//! Not here: the result's schema, which belongs to the report that writes it.
use crate::{digest::Digest, journal, settings};
use plumeline_procedure::Entry;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use std::borrow::Cow;

impl JsonSchema for Digest {
    fn schema_name() -> Cow<'static, str> {
        "Digest".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^[0-9a-f]{64}$",
            "description": "SHA-256, as lower-case hexadecimal digits."
        })
    }
}

/// The schemas by file name, as text with a line feed at the end.
pub fn all() -> Vec<(&'static str, String)> {
    vec![
        ("settings.schema.json", text(&schemars::schema_for!(settings::File))),
        ("journal-line.schema.json", text(&schemars::schema_for!(journal::Line<Entry>))),
    ]
}

fn text(schema: &Schema) -> String {
    // A schema is plain JSON; writing it can't fail.
    let mut text = serde_json::to_string_pretty(schema).unwrap_or_default();
    text.push('\n');
    text
}
