//! JSON Schemas (draft 2020-12) of the documents that people and scripts write and read, made from the types that
//! read them. They are kept under `docs/schemas`; a test fails when one there is out of date.
//!
//! A schema says which keys there are, which must be there and how each value is written. What hangs on several
//! values at once (names, heights that meet, the order of stages) only the reader itself checks.
//!
//! Not here: the result's schema, which belongs to the report that writes it.
use crate::{
    any::Any,
    decisions, description,
    digest::Digest,
    journal,
    pipework::{self, step},
    plan, seal, settings,
    units::{self, Dimension},
    written::{Bounded, Bounds, Q, Spanned, Written},
};
use plumeline_procedure::{
    Entry,
    rules::{Range, Rule, TABLES},
};
use schemars::{
    JsonSchema, Schema, SchemaGenerator, generate::SchemaSettings, json_schema, transform::RecursiveTransform,
};
use serde_json::{Map, Value, json};
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

impl JsonSchema for Any {
    fn schema_name() -> Cow<'static, str> {
        "Value".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let one = json_schema!({ "anyOf": [
            { "type": ["boolean", "number", "string"] },
            {
                "type": "object",
                "properties": { "hex": { "type": "string", "pattern": "^([0-9a-f]{2})*$" } },
                "required": ["hex"],
                "additionalProperties": false
            }
        ] });
        json_schema!({ "anyOf": [one, { "type": "array", "items": one }] })
    }
}

/// A value with its place in the text is the value alone.
impl<T: JsonSchema> JsonSchema for Spanned<T> {
    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }
    fn schema_id() -> Cow<'static, str> {
        T::schema_id()
    }
    fn inline_schema() -> bool {
        T::inline_schema()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

/// Where it stands alone, its type does not say what it may be.
impl JsonSchema for Written {
    fn schema_name() -> Cow<'static, str> {
        "Quantity".into()
    }
    fn inline_schema() -> bool {
        true
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": ["string", "number"] })
    }
}

/// Goes along with a quantity's schema until it is added to the description of the key that the quantity stands at.
const SAYS: &str = "x-says";

impl<B: Bounded> JsonSchema for Q<B> {
    fn schema_name() -> Cow<'static, str> {
        "Quantity".into()
    }
    fn inline_schema() -> bool {
        true
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let mut schema: Schema = written(&B::BOUNDS).into();
        schema.insert(SAYS.into(), says(&B::BOUNDS).into());
        schema
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
    of_toml_with::<T>(|_| {})
}

/// Like [`of_toml`], with more in it.
pub(crate) fn of_toml_with<T: JsonSchema>(add: impl FnOnce(&mut Schema)) -> String {
    let settings = SchemaSettings::draft2020_12().with_transform(RecursiveTransform(tidy));
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
    add(&mut schema);
    define_quantities(&mut schema);
    text(&schema)
}

/// Takes null out, and adds to a key's description what its quantity may be.
fn tidy(schema: &mut Schema) {
    without_null(schema);
    if let Some(Value::String(says)) = schema.remove(SAYS) {
        describe(schema, &says);
    }
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

/// A quantity, or a word in its place.
pub(crate) fn quantity_or(bounds: &'static Bounds, word: &'static str) -> impl FnMut(&mut Schema) {
    move |schema| {
        schema.remove("type");
        schema.insert("anyOf".into(), json!([{ "const": word }, written(bounds)]));
        describe(schema, &says(bounds));
    }
}

/// A quantity, or a list of them.
pub(crate) fn quantity_or_each(bounds: &'static Bounds) -> impl FnMut(&mut Schema) {
    move |schema| {
        let one = written(bounds);
        schema.insert("anyOf".into(), json!([one, { "type": "array", "items": one }]));
        describe(schema, &says(bounds));
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
pub(crate) fn words_or_list(words: Vec<&'static str>) -> impl FnMut(&mut Schema) {
    move |schema| {
        without_null(schema);
        if let Some(Value::Array(any)) = schema.get_mut("anyOf") {
            any.retain(|s| s.get("items").is_some());
            any.insert(0, json!({ "enum": words }));
        }
    }
}

/// Says in the schema of a step that it is one thing, with the keys that have a meaning then.
pub(crate) fn one_kind(schema: &mut Schema) {
    let kinds: Vec<_> = step::WHAT
        .iter()
        .map(|(what, with)| {
            let keys: Vec<_> = std::iter::once(*what).chain(with.concat()).collect();
            json!({ "required": [what], "propertyNames": { "enum": keys } })
        })
        .collect();
    schema.insert("additionalProperties".into(), false.into());
    schema.insert("oneOf".into(), kinds.into());
}

fn written(bounds: &Bounds) -> Map<String, Value> {
    let range = Range { low: bounds.low, high: bounds.high, above_low: bounds.above_low };
    written_in(bounds.dimension, range)
}

/// How a quantity is written, by the definition of its dimension; a bare number within its range.
fn written_in(dimension: Dimension, range: Range) -> Map<String, Value> {
    let mut schema = json_schema!({ "$ref": format!("#/$defs/{}", quantity_name(dimension, range.low < 0.0)) });
    if dimension.is_bare() {
        let low = if range.above_low { "exclusiveMinimum" } else { "minimum" };
        schema.insert(low.into(), json!(range.low));
        schema.insert("maximum".into(), json!(range.high));
    }
    std::mem::take(schema.ensure_object())
}

/// What the definition of a quantity is called.
fn quantity_name(dimension: Dimension, signed: bool) -> String {
    format!("{}Quantity{dimension:?}", if signed { "Signed" } else { "" })
}

/// Defines the quantities that a schema refers to, each once; for rules of the plan by themselves or with their source.
fn define_quantities(schema: &mut Schema) {
    for (dimension, signed) in units::dimensions().flat_map(|d| [(d, false), (d, true)]) {
        let name = quantity_name(dimension, signed);
        let value = json!({ "$ref": format!("#/$defs/{name}") });
        let ruled = json!({ "anyOf": [value, { "$ref": "#/$defs/Own", "properties": { "value": value } }] });
        let mut types = vec!["string"];
        if dimension.is_bare() {
            types.push(if dimension == Dimension::Count { "integer" } else { "number" });
        }
        let quantity = json!({ "type": types, "pattern": pattern(dimension, signed) });
        for (name, definition) in [(format!("Ruled{name}"), ruled), (name, quantity)] {
            if text(schema).contains(&format!("\"#/$defs/{name}\"")) {
                let defs = schema.ensure_object().entry("$defs").or_insert_with(|| json!({}));
                defs.as_object_mut().map(|defs| defs.insert(name, definition));
            }
        }
    }
}

/// A regular expression (ECMA-262) that matches what [`units::parse`] reads; numbers below zero only where `signed`.
pub(crate) fn pattern(dimension: Dimension, signed: bool) -> String {
    let sign = if signed { "[-+]?" } else { "[+]?" };
    let units: Vec<_> = units::of(dimension).collect();
    let optional = if dimension.is_bare() { "?" } else { "" };
    format!(
        r"^\s*({sign}([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?|([0-9]+ +[0-9]+/|[0-9]+ */ *)0*[1-9][0-9]*)\s*({}){optional}\s*$",
        units.join("|")
    )
}

fn says(bounds: &Bounds) -> String {
    says_in(bounds.dimension, bounds.says)
}

fn says_in(dimension: Dimension, allowed: &str) -> String {
    let units = units::of(dimension).filter(|u| u.is_ascii()).collect::<Vec<_>>().join(", ");
    let none = match (dimension.is_bare(), units.is_empty()) {
        (true, true) => "none",
        (true, false) => "none, or ",
        (false, _) => "",
    };
    format!("Write {allowed}. Units: {none}{units}.")
}

/// A rule of the plan: the name of a preset, a value, or a value with its source.
fn rule(rule: &Rule) -> Value {
    let mut any = match rule.dimension.is_bare() {
        true => {
            let value = written_in(rule.dimension, rule.range);
            vec![json!(value), json!({ "$ref": "#/$defs/Own", "properties": { "value": value } })]
        }
        false => {
            let name = quantity_name(rule.dimension, rule.range.low < 0.0);
            vec![json!({ "$ref": format!("#/$defs/Ruled{name}") })]
        }
    };
    let mut more = says_in(rule.dimension, &rule.allowed());
    if let [first, ..] = rule.presets {
        any.insert(0, json!({ "enum": rule.presets.iter().map(|p| p.name).collect::<Vec<_>>() }));
        more = format!("{} ({}) if not stated. {more}", rule.dimension.shown(first.value), first.name);
    }
    json!({ "description": format!("{}; {more}", rule.says.trim_end_matches([' ', '.'])), "anyOf": any })
}

/// Adds the rules of the plan to the schema of its facts.
pub(crate) fn with_rules(schema: &mut Schema) {
    let top = schema.ensure_object();
    for table in TABLES {
        let rules: Map<String, Value> = table.rules.iter().map(|r| (r.key.to_owned(), rule(r))).collect();
        if let Some(Value::Object(known)) = properties_of(top, table.section) {
            known.extend(rules);
            continue;
        }
        let new = json!({
            "description": table.about,
            "type": "object",
            "properties": rules,
            "additionalProperties": false,
        });
        let mut at = top.get_mut("properties");
        if let Some(name) = table.section.strip_prefix("advanced.") {
            let about = "The rules that few jobs change.";
            if let Some(Value::Object(properties)) = at {
                properties.entry("advanced").or_insert_with(|| {
                    json!({ "description": about, "type": "object", "properties": {}, "additionalProperties": false })
                });
            }
            at = top.get_mut("properties").and_then(|p| p.pointer_mut("/advanced/properties"));
            at.and_then(Value::as_object_mut).map(|o| o.insert(name.to_owned(), new));
        } else {
            at.and_then(Value::as_object_mut).map(|o| o.insert(table.section.to_owned(), new));
        }
    }
}

/// The properties of a table that holds facts too.
fn properties_of<'s>(top: &'s mut Map<String, Value>, section: &str) -> Option<&'s mut Value> {
    if section.is_empty() {
        return top.get_mut("properties");
    }
    let to = top.get("properties")?.get(section)?.get("$ref")?.as_str()?.strip_prefix("#/$defs/")?.to_owned();
    top.get_mut("$defs")?.get_mut(&to)?.get_mut("properties")
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
