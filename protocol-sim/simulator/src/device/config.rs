//! What a unit's settings come to, by what each of them means.
//!
//! Not here: values and images (see `settings`).
use super::settings::{Setting, SettingValue, SettingsError};
use crate::models::{Follows, Meaning, Model, Slot, Word};
use plumeline_base::obscuration::{Extinction, ObscurationUnit};

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
    /// Outputs that stay operated until latches are reset. Bit 0 is output 1.
    pub(crate) held: u32,
    pub(crate) learning: bool,
    /// Local time ahead of UTC, minutes.
    pub(crate) zone_min: i64,
}

/// Settings read by what they mean.
struct View<'a> {
    schema: &'a [&'a Slot],
    settings: &'a [Setting],
}
impl View<'_> {
    /// The slot that means this, and the value that it has.
    fn find(&self, meaning: Meaning) -> Option<(&Slot, &SettingValue)> {
        let slot = self.schema.iter().find(|s| s.meaning == meaning)?;
        self.settings.iter().find(|s| s.key == slot.factory.key).map(|s| (*slot, &s.value))
    }
    /// A number with its unit.
    fn number(&self, meaning: Meaning) -> Option<(f64, &str)> {
        match self.find(meaning)? {
            (slot, SettingValue::Number(n)) => Some((n.to_f64(), slot.factory.unit.as_deref().unwrap_or_default())),
            _ => None,
        }
    }
    fn on(&self, meaning: Meaning) -> Option<bool> {
        match self.find(meaning)? {
            (_, SettingValue::Switch(on)) => Some(*on),
            (slot, SettingValue::Text(word)) => match slot.word(word) {
                Word::Switch(on) => Some(on),
                _ => None,
            },
            _ => None,
        }
    }
    /// A time, s.
    fn seconds(&self, meaning: Meaning) -> Option<f64> {
        let (n, unit) = self.number(meaning)?;
        Some(match unit {
            "ms" => n / 1000.0,
            "min" => n * 60.0,
            "h" => n * 3600.0,
            _ => n,
        })
    }
    /// A share of a model whose band can't be set: a fifth.
    fn share(&self, meaning: Meaning) -> f64 {
        self.number(meaning).map_or(0.2, |(percent, _)| percent / 100.0)
    }
    fn level(&self, n: u8) -> Level {
        let stated = self.number(Meaning::Threshold(n));
        let threshold = stated.and_then(|(value, unit)| Extinction::from_stated(value, ObscurationUnit::parse(unit)?));
        let latched = self.on(Meaning::Latching(n)).or_else(|| self.on(Meaning::LatchingAll));
        Level {
            // A level without a threshold is never reached.
            threshold: threshold.unwrap_or(Extinction(f64::INFINITY)),
            delay_s: self.seconds(Meaning::Delay(n)).unwrap_or(0.0),
            latched: latched.unwrap_or(false),
        }
    }
    fn follows(&self, n: u8) -> Option<Follows> {
        match self.find(Meaning::Output(n))? {
            (slot, SettingValue::Text(word)) => match slot.word(word) {
                Word::Follows(what) => Some(what),
                _ => None,
            },
            _ => None,
        }
    }
}

impl Model {
    /// Whether a unit with `inlets` inlets takes this whole set of settings.
    ///
    /// # Errors
    /// Names the setting that it does not take.
    pub fn accepts(&self, settings: &[Setting], inlets: u8) -> Result<(), SettingsError> {
        self.configure(settings, inlets).map(drop)
    }
    /// Checks a whole set of settings and says what they come to.
    pub(crate) fn configure(&self, settings: &[Setting], inlets: u8) -> Result<Config, SettingsError> {
        let schema = self.schema(inlets);
        check(&schema, settings)?;
        let view = View { schema: &schema, settings };
        let outputs = || (1u8..).zip(&self.outputs);
        let config = Config {
            levels: (1..=self.levels).map(|n| view.level(n)).collect(),
            flow_low: view.share(Meaning::FlowLow),
            flow_high: view.share(Meaning::FlowHigh),
            flow_delay_s: view.seconds(Meaning::FlowDelay).unwrap_or(60.0),
            used: (1..=inlets).map(|n| view.on(Meaning::Inlet(n)).unwrap_or(true)).collect(),
            fan_speed: view.number(Meaning::Fan).map_or(1.0, |(setting, _)| self.fan.speed(setting)),
            outputs: outputs().map(|(n, fixed)| view.follows(n).unwrap_or(*fixed)).collect(),
            held: outputs()
                .filter(|(n, _)| view.on(Meaning::OutputLatching(*n)).unwrap_or(false))
                .fold(0, |bits, (n, _)| bits | super::outputs::bit(n)),
            learning: view.on(Meaning::Learning).unwrap_or(false),
            zone_min: view.seconds(Meaning::ClockZone).map_or(0, |s| (s / 60.0) as i64),
        };
        match config.levels.windows(2).position(|w| w[1].threshold <= w[0].threshold) {
            Some(n) => {
                Err(SettingsError(format!("the threshold of level {} is not above that of level {}", n + 2, n + 1)))
            }
            None => Ok(config),
        }
    }
}
/// Every setting that the model has, and no other, each with a value that it takes.
fn check(schema: &[&Slot], settings: &[Setting]) -> Result<(), SettingsError> {
    for s in settings {
        let why = match schema.iter().find(|slot| slot.factory.key == s.key) {
            Some(slot) => slot.objection(s),
            None => Some("this model has no such setting"),
        };
        if let Some(why) = why {
            return Err(SettingsError(format!("{}: {why}", s.key)));
        }
    }
    match schema.iter().find(|slot| !settings.iter().any(|s| s.key == slot.factory.key)) {
        Some(slot) => Err(SettingsError(format!("{}: it is missing", slot.factory.key))),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        device::settings::{from_image, to_image},
        models::invented::site_settings,
        scenario::Which,
    };
    use plumewire::image::Decimal;
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
        let c = Model::of(Which::Outgoing);
        let c = c.configure(&site_settings(&c, 2, &[true, true]), 2).unwrap();
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
