//! Settings of a unit as a JSON document: who held them, at which revision, whether they are whole, and the items
//! sorted by key; what only the maker understands is kept verbatim, as hexadecimal digits.
//!
//! The digest in the document is SHA-256 over the items in their canonical form ([`Settings::canonical`]).
//!
//! Not here: what a setting means, and how it is carried over to another model.
use crate::{
    TEXT_LIMIT,
    digest::Digest,
    error::{Kind, Problem, Source, quoted},
    folder::Folder,
};
use plumeline_detector::{
    Identity,
    settings::{Item, Settings, Value},
};
use serde::{Deserialize, Serialize};

/// The version of the format that is read and written.
pub const FORMAT: u32 = 1;
/// Longest key, bytes.
const KEY_LIMIT: usize = 200;

/// A settings document, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Who held the settings; `None` for settings that no unit holds yet.
    pub unit: Option<Identity>,
    /// The settings.
    pub settings: Settings,
    /// Every item that the unit has is here.
    pub complete: bool,
    /// The digest of the items.
    pub digest: Digest,
}

/// The document as it stands in the file.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(title = "Settings of a unit"))]
pub(crate) struct File {
    /// Version of this format: 1.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 1)))]
    format: u32,
    /// Who held the settings; left out for settings that no unit holds yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    unit: Option<Unit>,
    /// The unit's revision counter of these settings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    revision: Option<u32>,
    /// Every item that the unit has is here.
    #[serde(default)]
    complete: bool,
    /// SHA-256 over the items; left out where a person writes the file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    sha256: Option<String>,
    /// The items, each key once.
    items: Vec<FileItem>,
}

/// Who a unit is.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Unit {
    /// Maker, as the unit states it.
    maker: String,
    /// Model, as the unit states it.
    model: String,
    /// Serial number.
    serial: String,
    /// Firmware version.
    firmware: String,
    /// Changes at every start of the unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    boot_id: Option<u64>,
}

/// One setting.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct FileItem {
    /// Key, for example `alarm.1.threshold`.
    #[cfg_attr(feature = "schema", schemars(length(min = 1, max = 200)))]
    key: String,
    /// Value.
    value: FileValue,
    /// Unit of a number, for example `%/m` or `s`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    unit: Option<String>,
}

/// The value of a setting: yes or no, a number, words, or bytes that only the maker understands.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(untagged)]
enum FileValue {
    Bool(bool),
    Int(i64),
    Number(f64),
    Text(String),
    Opaque(Opaque),
}

/// Bytes that only the maker understands, kept verbatim.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Opaque {
    /// The bytes, as lower-case hexadecimal digits.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^([0-9a-f]{2})*$")))]
    hex: String,
}

/// Reads a settings document. `name` is what messages call it. Items may stand in any order.
///
/// # Errors
/// What is wrong, with its line, column and remedy; [`Kind::Altered`] if the items do not match their digest.
pub fn parse(name: &str, bytes: &[u8]) -> Result<Document, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let file: File = crate::written::from_json(&source)?;
    if file.format != FORMAT {
        let cause = format!("this file says that its format is {}; this tool reads format {FORMAT}", file.format);
        let remedy = "use the version of the tool that wrote the file";
        return Err(source.problem(Kind::Version, find(&source, "format", 1), cause, remedy));
    }
    let mut items = Vec::with_capacity(file.items.len());
    for item in file.items {
        items.push(checked(&source, item)?);
    }
    let settings = Settings::from_items(file.revision, items).map_err(|key| {
        let cause = format!("the setting {} stands twice", quoted(&key));
        source.problem(Kind::Duplicate, find(&source, &key, 2), cause, "keep one of the two")
    })?;
    let digest = digest(&settings);
    if file.sha256.as_ref().is_some_and(|stated| Digest::parse(stated) != Some(digest)) {
        let cause = "the items do not match the document's digest: they were altered";
        let remedy = "use the file as it was captured; for settings of your own take the `sha256` line out";
        return Err(source.problem(Kind::Altered, find(&source, "sha256", 1), cause, remedy));
    }
    let unit = file.unit.map(|u| Identity {
        maker: u.maker,
        model: u.model,
        serial: u.serial,
        firmware: u.firmware,
        boot_id: u.boot_id,
    });
    Ok(Document { unit, settings, complete: file.complete, digest })
}

fn checked(source: &Source<'_>, item: FileItem) -> Result<Item, Problem> {
    if item.key.is_empty() || item.key.len() > KEY_LIMIT || item.key.chars().any(char::is_control) {
        let cause = format!("{} is no key of a setting", quoted(&item.key));
        let remedy = format!("use 1 to {KEY_LIMIT} characters on one line, such as \"alarm.1.threshold\"");
        return Err(source.problem(Kind::Range, find(source, &item.key, 1), cause, remedy));
    }
    let value = match item.value {
        FileValue::Bool(b) => Value::Bool(b),
        FileValue::Int(n) => Value::Int(n),
        FileValue::Number(x) => Value::Number(x),
        FileValue::Text(t) => Value::Text(t),
        FileValue::Opaque(Opaque { hex }) => {
            let digits = hex.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
            if !digits || hex.len() % 2 != 0 {
                let cause =
                    format!("the bytes of {} are not pairs of lower-case hexadecimal digits", quoted(&item.key));
                let remedy = "write each byte as two digits from 0-9 and a-f";
                return Err(source.problem(Kind::WrongType, find(source, &item.key, 1), cause, remedy));
            }
            Value::Opaque { hex }
        }
    };
    Ok(Item { key: item.key, value, unit: item.unit })
}

/// Where a text stands for the `nth` time as a JSON string; the start of the file if it can't be found.
fn find(source: &Source<'_>, text: &str, nth: usize) -> std::ops::Range<usize> {
    let written = serde_json::Value::from(text).to_string();
    let at = source.text().match_indices(&written).nth(nth - 1).map_or(0, |(at, _)| at);
    at..(at + written.len()).min(source.text().len())
}

/// The digest of the items, as the document and the journal state it.
pub fn digest(settings: &Settings) -> Digest {
    Digest::of(settings.canonical().as_bytes())
}

fn to_file(value: &Value) -> FileValue {
    match value {
        Value::Bool(b) => FileValue::Bool(*b),
        Value::Int(n) => FileValue::Int(*n),
        Value::Number(x) => FileValue::Number(*x),
        Value::Text(t) => FileValue::Text(t.clone()),
        Value::Opaque { hex } => FileValue::Opaque(Opaque { hex: hex.clone() }),
    }
}

/// The text of a settings document.
///
/// # Errors
/// [`Kind::Internal`] if a number has no JSON form: such settings are not whole and must not pass for it.
pub fn to_json(settings: &Settings, unit: Option<&Identity>, complete: bool) -> Result<Vec<u8>, Problem> {
    if let Some(bad) = settings.items.iter().find(|i| matches!(i.value, Value::Number(x) if !x.is_finite())) {
        let cause = format!("the setting {} is not a finite number", quoted(&bad.key));
        return Err(Problem::with_file(Kind::Internal, "settings", cause, "read the settings again"));
    }
    let file = File {
        format: FORMAT,
        unit: unit.map(|u| Unit {
            maker: u.maker.clone(),
            model: u.model.clone(),
            serial: u.serial.clone(),
            firmware: u.firmware.clone(),
            boot_id: u.boot_id,
        }),
        revision: settings.revision,
        complete,
        sha256: Some(digest(settings).to_string()),
        items: settings
            .items
            .iter()
            .map(|i| FileItem { key: i.key.clone(), value: to_file(&i.value), unit: i.unit.clone() })
            .collect(),
    };
    let mut bytes = serde_json::to_vec_pretty(&file)
        .map_err(|e| Problem::with_file(Kind::Internal, "settings", e.to_string(), "report this"))?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// Puts settings that a unit held as a whole into the job folder. Drivers hand over whole sets only.
///
/// # Errors
/// As [`to_json`]; what the system reports.
pub fn write(folder: &Folder, name: &str, settings: &Settings, unit: Option<&Identity>) -> Result<(), Problem> {
    folder.replace(name, &to_json(settings, unit, true)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn value() -> impl Strategy<Value = Value> {
        prop_oneof![
            any::<bool>().prop_map(Value::Bool),
            any::<i64>().prop_map(Value::Int),
            prop::num::f64::NORMAL.prop_map(Value::Number),
            ".{0,20}".prop_map(Value::Text),
            prop::collection::vec(any::<u8>(), 0..9)
                .prop_map(|b| Value::Opaque { hex: base16ct::lower::encode_string(&b) }),
        ]
    }

    proptest! {
        #[test]
        fn written_and_read_back(
            values in prop::collection::btree_map("[a-z]{1,6}(\\.[0-9]{1,2})?", (value(), prop::option::of("[%/a-z]{1,4}")), 0..12),
            revision in any::<Option<u32>>(),
            complete in any::<bool>(),
        ) {
            let items = values.into_iter().map(|(key, (value, unit))| Item { key, value, unit }).collect();
            let settings = Settings::from_items(revision, items).unwrap();
            let bytes = to_json(&settings, None, complete).unwrap();
            let back = parse("settings.json", &bytes).unwrap();
            prop_assert_eq!(&back.settings, &settings);
            prop_assert_eq!(back.complete, complete);
            // A document that was written and read is written the same again.
            prop_assert_eq!(to_json(&back.settings, None, complete).unwrap(), bytes);
        }
        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = parse("settings.json", &bytes);
        }
    }

    #[test]
    fn an_altered_item_is_noticed() {
        let items = vec![Item { key: "alarm.1.threshold".into(), value: Value::Number(0.2), unit: Some("%/m".into()) }];
        let settings = Settings::from_items(Some(7), items).unwrap();
        let text = String::from_utf8(to_json(&settings, None, true).unwrap()).unwrap();
        assert!(parse("s.json", text.as_bytes()).is_ok());
        let altered = text.replace("0.2", "0.3");
        assert_eq!(parse("s.json", altered.as_bytes()).unwrap_err().kind(), Kind::Altered);
        // SHA-256 of "alarm.1.threshold\tn:0.2\t%/m\n" by coreutils.
        assert!(text.contains("ce4215bfb02c591535d7398ed48c353d756d49a2a3e05fa55e14e0572d3795d9"), "{text}");
    }
}
