//! JSON Schemas (draft 2020-12) of the documents that people and scripts write and read, made from the types that
//! read them. They are kept under `docs/schemas`; a test fails when one there is out of date.
//!
//! A schema says which keys there are, which must be there and how each value is written. What hangs on several
//! values at once (names, heights that meet, the order of stages) only the reader itself checks.
//!
//! Not here: the result's schema, which belongs to the report that writes it.
use crate::{
    decisions, description, digest::Digest, journal, limits::Presets, pipework, plan, seal, settings, units,
    written::Bounds,
};
use plumeline_procedure::Entry;
use schemars::{
    JsonSchema, Schema, SchemaGenerator, generate::SchemaSettings, json_schema, transform::RecursiveTransform,
};
use serde_json::{Value, json};
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
        ("seal.schema.json", text(&schemars::schema_for!(seal::SealFile))),
        ("journal-line.schema.json", text(&schemars::schema_for!(journal::Line<Entry>))),
        ("pipework.schema.json", pipework::schema()),
        ("plan.schema.json", plan::schema()),
        ("description.schema.json", description::schema()),
        ("decisions.schema.json", decisions::schema()),
    ]
}

/// The schema of a TOML document, as text with a line feed at the end. TOML has no null: what is not there is left out.
pub fn of_toml<T: JsonSchema>() -> String {
    let settings = SchemaSettings::draft2020_12().with_transform(RecursiveTransform(without_null));
    text(&settings.into_generator().into_root_schema_for::<T>())
}

fn without_null(schema: &mut Schema) {
    let null = json!({ "type": "null" });
    if let Some(Value::Array(any)) = schema.get_mut("anyOf") {
        any.retain(|s| *s != null);
        if let [Value::Object(only)] = any.as_slice() {
            let only = only.clone();
            schema.remove("anyOf");
            for (key, value) in only {
                schema.ensure_object().entry(key).or_insert(value);
            }
        }
    }
    if let Some(Value::Array(types)) = schema.get_mut("type") {
        types.retain(|t| t != "null");
        if let [only] = types.as_slice() {
            let only = only.clone();
            schema.insert("type".into(), only);
        }
    }
}

/// Adds to a key's description.
fn describe(schema: &mut Schema, more: &str) {
    let own = schema.get("description").and_then(Value::as_str).unwrap_or_default();
    let both = format!("{own} {more}");
    schema.insert("description".into(), both.trim_start().into());
}

/// Says which quantity a key's value is.
pub(crate) fn quantity(bounds: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        schema.remove("anyOf");
        schema.ensure_object().extend(written(bounds));
        describe(schema, &says(bounds));
    }
}

/// Like [`quantity`], or a word in its place.
pub(crate) fn quantity_or(bounds: &'static Bounds, word: &'static str) -> impl FnMut(&mut Schema) {
    move |schema| {
        schema.remove("type");
        schema.insert("anyOf".into(), json!([{ "const": word }, written(bounds)]));
        describe(schema, &says(bounds));
    }
}

/// Like [`quantity`], or a list of them.
pub(crate) fn quantity_or_each(bounds: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        let one = written(bounds);
        schema.insert("anyOf".into(), json!([one, { "type": "array", "items": one }]));
        describe(schema, &says(bounds));
    }
}

/// Like [`quantity`], for every value of a list or of a table.
pub(crate) fn quantities(bounds: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        for place in ["items", "additionalProperties"] {
            if let Some(each) = schema.get_mut(place) {
                *each = json!(written(bounds));
            }
        }
        describe(schema, &says(bounds));
    }
}

/// A fan curve's points: flow and pressure.
pub(crate) fn pairs(first: &'static Bounds, second: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        schema.insert(
            "items".into(),
            json!({
                "type": "array",
                "prefixItems": [written(first), written(second)],
                "minItems": 2,
                "maxItems": 2
            }),
        );
        describe(schema, &format!("{} {}", says(first), says(second)));
    }
}

/// A limit: the name of a preset, a value, or a value with its source.
pub(crate) fn limit(presets: &'static Presets, bounds: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        let names: Vec<_> = presets.all.iter().map(|p| p.name).collect();
        without_null(schema);
        if let Some(Value::Array(any)) = schema.get_mut("anyOf") {
            any.retain(|s| s.get("$ref").is_some());
            for own in any.iter_mut() {
                *own = json!({ "$ref": own.get("$ref"), "properties": { "value": written(bounds) } });
            }
            any.splice(0..0, [json!({ "enum": names }), json!(written(bounds))]);
        }
        describe(schema, &format!("The name of a preset, or a value. {}", says(bounds)));
    }
}

/// One of several names.
pub(crate) fn names<T>(known: &'static [(&'static str, T)]) -> impl FnMut(&mut Schema) {
    one_of(known.iter().map(|(name, _)| *name).collect())
}

/// One of several names.
pub(crate) fn one_of(names: Vec<&'static str>) -> impl FnMut(&mut Schema) {
    move |schema| {
        schema.insert("type".into(), "string".into());
        schema.insert("enum".into(), json!(names));
    }
}

/// One of several words, or a list.
pub(crate) fn words_or_list(words: &'static [&'static str]) -> impl FnMut(&mut Schema) {
    move |schema| {
        without_null(schema);
        if let Some(Value::Array(any)) = schema.get_mut("anyOf") {
            any.retain(|s| s.get("items").is_some());
            any.insert(0, json!({ "enum": words }));
        }
    }
}

/// How a quantity is written: as text with a unit, or as a bare number where there is no unit.
fn written(bounds: &Bounds) -> serde_json::Map<String, Value> {
    let mut schema = json_schema!({
        "type": "string",
        "pattern": units::pattern(bounds.dimension, bounds.low < 0.0),
    });
    if bounds.dimension == units::Dimension::Ratio {
        let low = if bounds.above_low { "exclusiveMinimum" } else { "minimum" };
        schema.insert("type".into(), json!(["string", "number"]));
        schema.insert(low.into(), json!(bounds.low));
        schema.insert("maximum".into(), json!(bounds.high));
    }
    std::mem::take(schema.ensure_object())
}

fn says(bounds: &Bounds) -> String {
    let units: Vec<_> = bounds.dimension.units().filter(|u| u.is_ascii()).collect();
    let none = if bounds.dimension == units::Dimension::Ratio { "none, or " } else { "" };
    format!("Write {}. Units: {none}{}.", bounds.says, units.join(", "))
}

/// Holds a schema against the one under `docs/schemas`, in tests. With `PLUMELINE_WRITE_SCHEMAS` set it is written anew.
pub fn holds(name: &str, text: String) {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/schemas").join(name);
    if std::env::var_os("PLUMELINE_WRITE_SCHEMAS").is_some() {
        let written = std::fs::write(&path, &text);
        assert!(written.is_ok(), "{name}: {written:?}");
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == text, "{name} is out of date: run with PLUMELINE_WRITE_SCHEMAS=1");
}

fn text(schema: &Schema) -> String {
    // A schema is plain JSON; writing it can't fail.
    let mut text = serde_json::to_string_pretty(schema).unwrap_or_default();
    text.push('\n');
    text
}
