//! What a model has and what its settings mean, as its description file states it.
//!
//! Checked where it is read (the job crate): each key once, units that fit their meaning, outputs numbered from 1.
//! Not here: the file.
use crate::{
    meaning::{Contact, Function, Meaning},
    neutral::plain,
    number::Grid,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::pipework::{Fan, Loss};
use plumeline_detector::{
    display::{Face, Hands, Scale, SheetItem, Shows, Takes},
    lines::{self, Lines},
    mixed::Offers,
    registers::{self, Registers},
    settings::Value,
};

/// A model of unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Description {
    /// Maker, as the unit states it.
    pub maker: String,
    /// Model, as the unit states it.
    pub model: String,
    /// Fewest and most inlets that a unit of this model has.
    pub inlets: (u8, u8),
    /// Alarm levels.
    pub levels: u8,
    /// Outputs, numbered from 1 without gaps.
    pub outputs: Vec<Output>,
    /// Inputs.
    pub inputs: u8,
    /// What the unit's flow readings, and so the per cent of its flow bands, refer to.
    pub flow: FlowReading,
    /// What it can be asked over a line.
    pub can: Abilities,
    /// What it shows to a person and what a person can do at it; `None`: nobody said.
    pub display: Option<(Shows, Hands)>,
    /// Every setting, by key.
    pub slots: Vec<Slot>,
    /// The air path, if it is known: without it nothing can be said of holes.
    pub air: Option<UnitAir>,
    /// Its register map, where it is read by registers.
    pub registers: Option<registers::Map>,
    /// The lines that it prints by itself, where it is listened to.
    pub lines: Option<lines::Map>,
}

/// What a reading of flow is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowReading {
    /// The volume of the air as it is.
    Actual,
    /// The volume at reference conditions (mass-type sensors).
    Reference,
}

/// What a unit can be asked over a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Abilities {
    /// Settings can be read whole.
    pub read_settings: bool,
    /// Settings can be written as one transaction.
    pub write_settings: bool,
}

/// An output.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// Number, from 1.
    pub number: u8,
    /// Its terminals as they are marked.
    pub terminals: String,
    /// What its contact does when its function arises; if a setting says otherwise, that holds.
    pub contact: Contact,
    /// It is held energised at rest, so that it operates when power fails.
    pub energised_at_rest: bool,
    /// What it follows if no setting says so.
    pub fixed: Option<Function>,
}

/// A setting of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Key.
    pub key: String,
    /// What it means.
    pub meaning: Meaning,
    /// What it takes.
    pub kind: Kind,
    /// What the factory delivers it with, if the description says.
    pub default: Option<Value>,
    /// It belongs to this inlet, and is there only if the unit has that.
    pub inlet: Option<u8>,
}

/// What a setting takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// Yes or no.
    Switch,
    /// A number.
    Number {
        /// Its unit, if it has one.
        unit: Option<String>,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// Step, > 0.
        step: f64,
    },
    /// One of these words, each with what it means.
    Words(Vec<(String, Word)>),
    /// Any text.
    Text {
        /// Longest, bytes.
        longest: u32,
    },
    /// Bytes that only the maker understands.
    Bytes {
        /// Longest, bytes.
        longest: u32,
    },
}

/// What a word of a model means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// Yes or no.
    Switch(bool),
    /// What an output follows or an input does.
    Function(Function),
    /// What a contact does.
    Contact(Contact),
    /// Nothing that anybody else knows.
    Own,
}

/// A unit's own air path.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitAir {
    /// Loss of an inlet up to the manifold.
    pub inlet_loss: Loss,
    /// Bore of an inlet, m.
    pub inlet_bore_m: f64,
    /// Volume of an inlet up to the manifold, m3.
    pub inlet_volume_m3: f64,
    /// Loss from the manifold to the fan (filter, chamber).
    pub loss: Loss,
    /// Volume from the manifold to the sensor, m3.
    pub volume_m3: f64,
    /// Time constant of the sensor, s.
    pub sensor_lag_s: f64,
    /// Loss of the exhaust.
    pub exhaust_loss: Loss,
    /// The fan at full speed.
    pub fan: Fan,
    /// Fan settings with the share of full speed at each, by rising setting; straight lines between them. Empty: the
    /// speed can't be set, and the fan runs at full speed.
    pub speeds: Vec<(f64, f64)>,
}

impl UnitAir {
    /// Share of full speed at a setting; `None` outside of the settings that are stated.
    pub fn speed(&self, setting: f64) -> Option<f64> {
        if let [(only, speed)] = self.speeds.as_slice() {
            return (setting == *only).then_some(*speed);
        }
        let pair = self.speeds.windows(2).find(|w| (w[0].0..=w[1].0).contains(&setting))?;
        let ((a, from), (b, to)) = (pair[0], pair[1]);
        Some(from + (to - from) * ((setting - a) / (b - a)))
    }
}

impl Slot {
    /// The setting as a person reads it; `None` for bytes, which nobody can read.
    fn on_sheet(&self) -> Option<SheetItem> {
        let takes = match &self.kind {
            Kind::Switch => Takes::Switch,
            Kind::Number { unit, low, high, step } => {
                Takes::Number(Scale { unit: unit.clone().unwrap_or_default(), range: (*low, *high), step: Some(*step) })
            }
            Kind::Words(words) => Takes::Words(words.iter().map(|(word, _)| word.clone()).collect()),
            Kind::Text { longest } => Takes::Text(*longest),
            Kind::Bytes { .. } => return None,
        };
        let means = if self.meaning == Meaning::Vendor { String::new() } else { self.meaning.words() };
        Some(SheetItem { key: self.key.clone(), means, group: self.meaning.group().title(), inlet: self.inlet, takes })
    }
    /// Whether a value that a person or the factory gives is one that the setting takes; `Err` says why not.
    ///
    /// # Errors
    /// Another kind of value, a number out of range or between the steps, a word that the model does not know.
    pub fn check(&self, value: &Value) -> Result<(), String> {
        match (&self.kind, value) {
            (Kind::Switch, Value::Bool(_)) => Ok(()),
            (Kind::Number { low, high, step, unit }, v) => {
                let unit = unit.as_deref().unwrap_or_default();
                let x = plain(v).ok_or("a number is wanted here")?;
                if !(*low..=*high).contains(&x) {
                    return Err(format!("{x} is outside of {low} to {high} {unit}").trim_end().to_string());
                }
                match Grid::of(*step).and_then(|g| g.exact(x)) {
                    Some(_) => Ok(()),
                    None => Err(format!("{x} is between the steps of {step} {unit}").trim_end().to_string()),
                }
            }
            (Kind::Words(words), Value::Text(t)) => {
                let all: Vec<&str> = words.iter().map(|(w, _)| w.as_str()).collect();
                if all.contains(&t.as_str()) { Ok(()) } else { Err(format!("use one of {}", all.join(", "))) }
            }
            (Kind::Text { longest }, Value::Text(t)) if t.len() <= *longest as usize => Ok(()),
            (Kind::Text { longest }, Value::Text(t)) => {
                Err(format!("it is {} bytes long, the new unit takes {longest}", t.len()))
            }
            (Kind::Bytes { longest }, Value::Opaque { hex }) if hex.len() / 2 <= *longest as usize => Ok(()),
            (Kind::Bytes { longest }, Value::Opaque { hex }) => {
                Err(format!("it is {} bytes long, the new unit takes {longest}", hex.len() / 2))
            }
            (Kind::Switch, _) => Err("yes or no is wanted here (true, false)".into()),
            (Kind::Words(_) | Kind::Text { .. }, _) => Err("words are wanted here".into()),
            (Kind::Bytes { .. }, _) => Err("bytes are wanted here, as { hex = \"00ff\" }".into()),
        }
    }
}

impl Description {
    /// The slot with this key.
    pub fn slot(&self, key: &str) -> Option<&Slot> {
        let at = self.slots.binary_search_by(|s| s.key.as_bytes().cmp(key.as_bytes())).ok()?;
        self.slots.get(at)
    }
    /// The slot with this meaning. Vendor slots are told apart by their keys only.
    pub fn meaning(&self, meaning: Meaning) -> Option<&Slot> {
        self.slots.iter().find(|s| s.meaning == meaning && meaning != Meaning::Vendor)
    }
    /// The slots of a unit with so many inlets.
    pub fn slots_with(&self, inlets: u8) -> impl Iterator<Item = &Slot> {
        self.slots.iter().filter(move |s| s.inlet.is_none_or(|n| n <= inlets))
    }
    /// The output with this number.
    pub fn output(&self, number: u8) -> Option<&Output> {
        self.outputs.iter().find(|o| o.number == number)
    }
    /// Nobody but a person can ask a unit of this model.
    pub fn is_by_hand(&self) -> bool {
        self.display.is_some() && self.registers.is_none() && self.lines.is_none() && self.can == Abilities::default()
    }
    /// The model as a person sees it. What is not described is neither shown nor can it be done.
    pub fn face(&self) -> Face {
        let (shows, hands) = self.display.clone().unwrap_or_default();
        let mut slots: Vec<&Slot> = self.slots.iter().collect();
        slots.sort_by_key(|slot| slot.meaning.group());
        Face {
            maker: self.maker.clone(),
            model: self.model.clone(),
            serial: None,
            inlets: self.inlets,
            levels: self.levels,
            outputs: u8::try_from(self.outputs.len()).unwrap_or(u8::MAX),
            inputs: self.inputs,
            shows,
            hands,
            items: slots.into_iter().filter_map(Slot::on_sheet).collect(),
        }
    }
    /// What units of this model have to offer, by its description alone; a unit that speaks plumewire says it itself.
    pub fn offers(&self) -> Offers {
        let line = match (&self.registers, &self.lines) {
            (Some(map), _) => Some(Registers::offer(map)),
            (None, Some(map)) => Some(Lines::offer(map)),
            (None, None) => None,
        };
        Offers { line, person: self.display.is_some().then(|| self.face().offer(self.inlets.1)) }
    }
    /// The same model of the same maker.
    pub fn is_model(&self, other: &Self) -> bool {
        self.maker == other.maker && self.model == other.model
    }
}
