//! A unit's settings: their values, and the image on the wire.
//!
//! Not here: what they come to (see `config`), and how they are kept without power (see `store`).
use plumewire::image::{Decimal, ImageWriter, Item, Items, Value};

/// Longest image that a unit takes, bytes.
pub const SETTINGS_MAX: usize = 4096;

/// A value that owns its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SettingValue {
    /// On or off.
    Switch(bool),
    /// A number, exactly as written.
    Number(Decimal),
    /// Text.
    Text(String),
    /// Bytes that only the maker understands.
    Bytes(Vec<u8>),
}
impl SettingValue {
    /// A number as it is written; 0 if it is none.
    pub fn number(written: &str) -> Self {
        Self::Number(Decimal::parse(written).unwrap_or_default())
    }
    /// Takes another value of the same kind, as somebody keys it in.
    pub(crate) fn key_in(&mut self, value: &serde_json::Value) -> Option<()> {
        use serde_json::Value as Keyed;
        *self = match (&*self, value) {
            (Self::Switch(_), Keyed::Bool(on)) => Self::Switch(*on),
            (Self::Number(_), Keyed::Number(n)) => Self::Number(Decimal::parse(&n.to_string())?),
            (Self::Text(_), Keyed::String(t)) => Self::Text(t.clone()),
            _ => return None,
        };
        Some(())
    }
}
/// One setting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Its key.
    pub key: String,
    /// Its value.
    pub value: SettingValue,
    /// Unit of a number.
    pub unit: Option<String>,
}
/// Why settings are not accepted; the text names the key where there is one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct SettingsError(pub String);

/// The image of settings that stand in the order of their keys.
///
/// # Errors
/// When the keys are not in order, or the image would be too long.
pub fn to_image(settings: &[Setting]) -> Result<Vec<u8>, SettingsError> {
    let mut buffer = vec![0; SETTINGS_MAX];
    let mut write = || {
        let mut w = ImageWriter::new(&mut buffer, settings.len() as u32)?;
        for s in settings {
            let value = match &s.value {
                SettingValue::Switch(on) => Value::Switch(*on),
                SettingValue::Number(n) => Value::Number(*n),
                SettingValue::Text(t) => Value::Text(t),
                SettingValue::Bytes(b) => Value::Bytes(b),
            };
            w.item(&Item { key: &s.key, value, unit: s.unit.as_deref() })?;
        }
        w.finish()
    };
    let len = write().map_err(|e: plumewire::EncodeError| SettingsError(format!("the settings make no image: {e}")))?;
    buffer.truncate(len);
    Ok(buffer)
}
/// The settings of an image.
///
/// # Errors
/// When the image is not well formed.
pub fn from_image(image: &[u8]) -> Result<Vec<Setting>, SettingsError> {
    let bad = |e: plumewire::PayloadError| SettingsError(format!("not a settings image: {e}"));
    Items::new(image)
        .map_err(bad)?
        .map(|item| {
            let item = item.map_err(bad)?;
            let value = match item.value {
                Value::Switch(on) => SettingValue::Switch(on),
                Value::Number(n) => SettingValue::Number(n),
                Value::Text(t) => SettingValue::Text(t.into()),
                Value::Bytes(b) => SettingValue::Bytes(b.into()),
            };
            Ok(Setting { key: item.key.into(), value, unit: item.unit.map(Into::into) })
        })
        .collect()
}
