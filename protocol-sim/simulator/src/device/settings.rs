//! A unit's settings: what each item takes, the image on the wire, and what they come to.
//!
//! Not here: how they are kept without power (see `store`).
use crate::{models::Model, scenario::Which};
use plumeline_base::obscuration::{Extinction, ObscurationUnit};
use plumewire::image::{Decimal, ImageWriter, Item, Items, Value};

/// Longest image that a unit takes, bytes.
pub const SETTINGS_MAX: usize = 4096;
/// Longest text or bytes of one item.
const ITEM_MAX: usize = 64;

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
/// What a setting takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// On or off.
    Switch,
    /// A number from `low` to `high`.
    Number {
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// Text of up to 64 bytes.
    Text,
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// Up to 64 bytes.
    Bytes,
}
/// A setting that a model has.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Key, unit and factory value.
    pub factory: Setting,
    /// What it takes.
    pub allowed: Allowed,
}
impl Slot {
    /// Why `setting` does not fit here, if it does not.
    fn objection(&self, setting: &Setting) -> Option<&'static str> {
        if setting.unit != self.factory.unit {
            return Some("its unit is another");
        }
        let fits = match (&self.allowed, &setting.value) {
            (Allowed::Switch, SettingValue::Switch(_)) => true,
            (Allowed::Number { low, high }, SettingValue::Number(n)) => (*low..=*high).contains(&n.to_f64()),
            (Allowed::Text, SettingValue::Text(t)) => t.len() <= ITEM_MAX,
            (Allowed::OneOf(words), SettingValue::Text(t)) => words.contains(&t.as_str()),
            (Allowed::Bytes, SettingValue::Bytes(b)) => b.len() <= ITEM_MAX,
            _ => return Some("its value is of another kind"),
        };
        (!fits).then_some("its value is not allowed")
    }
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

/// What an output follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Follows {
    Nothing,
    Fault,
    /// Alarm level, from 1.
    Level(u8),
}
/// One alarm level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Level {
    pub(crate) threshold: Extinction,
    pub(crate) delay_s: f64,
    pub(crate) latched: bool,
}
/// What the settings of a unit come to, whatever its model calls them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Config {
    pub(crate) levels: Vec<Level>,
    /// Bands below and above the baseline, as shares.
    pub(crate) flow_low: f64,
    pub(crate) flow_high: f64,
    pub(crate) flow_delay_s: f64,
    pub(crate) used: Vec<bool>,
    /// Share of 100 %.
    pub(crate) fan_speed: f64,
    pub(crate) outputs: Vec<Follows>,
    pub(crate) learning: bool,
    /// Local time ahead of UTC, minutes.
    pub(crate) zone_min: i64,
}

impl Model {
    /// Checks a whole set of settings and says what they come to.
    pub(crate) fn configure(&self, settings: &[Setting], inlets: u8) -> Result<Config, SettingsError> {
        let schema = self.schema(inlets);
        for s in settings {
            let why = match schema.iter().find(|slot| slot.factory.key == s.key) {
                Some(slot) => slot.objection(s),
                None => Some("this model has no such setting"),
            };
            if let Some(why) = why {
                return Err(SettingsError(format!("{}: {why}", s.key)));
            }
        }
        if let Some(slot) = schema.iter().find(|slot| !settings.iter().any(|s| s.key == slot.factory.key)) {
            return Err(SettingsError(format!("{}: it is missing", slot.factory.key)));
        }
        let find = |key: &str| settings.iter().find(|s| s.key == key).map(|s| &s.value);
        let number = |key: &str| match find(key) {
            Some(SettingValue::Number(n)) => n.to_f64(),
            _ => 0.0,
        };
        let on = |key: &str| find(key) == Some(&SettingValue::Switch(true));
        let word = |key: &str| match find(key) {
            Some(SettingValue::Text(t)) => t.as_str(),
            _ => "",
        };
        let follows = |word: &str| match word {
            "fault" | "trouble" => Follows::Fault,
            w => w.rsplit_once('-').and_then(|(_, n)| n.parse().ok()).map_or(Follows::Nothing, Follows::Level),
        };
        let level = |value: f64, unit, delay_s, latched| Level {
            threshold: Extinction::from_stated(value, unit).unwrap_or(Extinction(f64::INFINITY)),
            delay_s,
            latched,
        };
        let config = match self.which {
            Which::Outgoing => Config {
                levels: (1..=self.levels)
                    .map(|n| {
                        let at = number(&format!("level.{n}.at"));
                        let wait = number(&format!("level.{n}.wait"));
                        level(at, ObscurationUnit::PercentPerFoot, wait, on("levels.latch"))
                    })
                    .collect(),
                flow_low: number("air.low") / 100.0,
                flow_high: number("air.high") / 100.0,
                flow_delay_s: number("air.wait") * 60.0,
                used: (1..=inlets).map(|n| on(&format!("pipe.{n}.fitted"))).collect(),
                fan_speed: 0.5 + 0.05 * number("fan.step"),
                outputs: (1..=self.outputs).map(|n| follows(word(&format!("relay.{n}.on")))).collect(),
                learning: false,
                zone_min: (number("time.zone") * 60.0) as i64,
            },
            Which::Replacement => Config {
                levels: (1..=self.levels)
                    .map(|n| {
                        let at = number(&format!("alarm.{n}.threshold"));
                        let delay = number(&format!("alarm.{n}.delay"));
                        level(at, ObscurationUnit::PercentPerMetre, delay, on(&format!("alarm.{n}.latched")))
                    })
                    .collect(),
                flow_low: number("flow.low") / 100.0,
                flow_high: number("flow.high") / 100.0,
                flow_delay_s: number("flow.delay"),
                used: (1..=inlets).map(|n| on(&format!("inlet.{n}.used"))).collect(),
                fan_speed: number("fan.speed") / 100.0,
                outputs: (1..=self.outputs).map(|n| follows(word(&format!("output.{n}.function")))).collect(),
                learning: on("learning.on"),
                zone_min: number("clock.offset") as i64,
            },
        };
        match config.levels.windows(2).position(|w| w[1].threshold <= w[0].threshold) {
            Some(n) => {
                Err(SettingsError(format!("the threshold of level {} is not above that of level {}", n + 2, n + 1)))
            }
            None => Ok(config),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::models::site_settings;
    #[test]
    fn both_models_accept_what_they_are_delivered_with() {
        for which in [Which::Outgoing, Which::Replacement] {
            let model = Model::of(which);
            for inlets in 1..=8 {
                let settings = model.factory_settings(inlets);
                model.configure(&settings, inlets).unwrap();
                assert_eq!(from_image(&to_image(&settings).unwrap()).unwrap(), settings);
            }
        }
        let c = Model::of(Which::Outgoing).configure(&site_settings(2, &[true, true]), 2).unwrap();
        assert_eq!((c.levels.len(), c.outputs.len(), c.used), (4, 5, vec![true, true]));
        // 0.012 %/ft by Beer and Lambert's law.
        assert!((c.levels[0].threshold.0 - -(1.0f64 - 0.00012).ln() / 0.3048).abs() < 1e-9);
    }
    #[test]
    fn refusals_name_the_key() {
        let model = Model::of(Which::Replacement);
        let base = model.factory_settings(2);
        let with = |key: &str, value: SettingValue| {
            let mut s = base.clone();
            s.iter_mut().filter(|s| s.key == key).for_each(|s| s.value = value.clone());
            model.configure(&s, 2).unwrap_err().0
        };
        assert!(with("fan.speed", SettingValue::Number(Decimal::whole(120))).starts_with("fan.speed"));
        assert!(with("fan.speed", SettingValue::Switch(true)).starts_with("fan.speed"));
        assert!(with("output.2.function", SettingValue::Text("level-2".into())).starts_with("output.2.function"));
        assert!(with("alarm.1.threshold", SettingValue::Number(Decimal::whole(5))).contains("level 2"));
        let mut short = base.clone();
        short.remove(3);
        assert!(model.configure(&short, 2).unwrap_err().0.contains("missing"));
        let mut foreign = base.clone();
        foreign[0].unit = Some("%/ft".into());
        assert!(model.configure(&foreign, 2).unwrap_err().0.contains("unit"));
        foreign[0].key = "level.1.at".into();
        assert!(model.configure(&foreign, 2).unwrap_err().0.starts_with("level.1.at"));
    }
}
