//! A unit asked by meaning: its description and the settings that it holds, put together.
//!
//! What the two do not tell is [`Unknown`] with its reason, never a usual value and never an empty set: whoever asks can't
//! take silence for "nothing is there". Not here: what follows from an answer.
use crate::{
    description::{Description, FlowReading, Kind, Output, Slot, Word},
    meaning::{Contact, Function, Meaning},
    neutral::{Sense, sense},
};
use alloc::{
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;
use plumeline_base::obscuration::Extinction;
use plumeline_detector::{
    Identity,
    settings::{Item, Settings, Value},
};

/// What was asked, or why nobody knows it.
pub type Known<T> = Result<T, Unknown>;

/// Why something about a unit is not known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unknown {
    /// Nobody described the unit.
    NotDescribed,
    /// The description is that of another model.
    OtherModel {
        /// Maker and model that are described.
        described: String,
        /// Maker and model that the unit states.
        stated: String,
    },
    /// The unit's settings were not read.
    NotRead,
    /// The model is described without a setting that means this.
    NoSetting(Meaning),
    /// The settings lack the item that means this.
    Missing(Meaning),
    /// The item that means this is there and can't be understood.
    Strange {
        /// What it means.
        meaning: Meaning,
        /// Why it is not understood.
        why: String,
    },
    /// The model has no such level.
    NoLevel(u8),
    /// The model has no such output.
    NoOutput(u8),
    /// The model has no such inlet.
    NoInlet(u8),
    /// Thresholds are not what the settings say: the unit learns them.
    Learnt,
    /// The words name nothing that an output can follow.
    NoFunction(String),
}
impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotDescribed => f.write_str("the unit is not described: nothing says what its settings mean"),
            Self::OtherModel { described, stated } => {
                write!(f, "the description is of {described}, the unit states {stated}")
            }
            Self::NotRead => f.write_str("the unit's settings were not read back"),
            Self::NoSetting(m) => write!(f, "the description names no setting for \"{}\"", m.words()),
            Self::Missing(m) => write!(f, "the settings read back lack \"{}\"", m.words()),
            Self::Strange { meaning, why } => write!(f, "the setting for \"{}\": {why}", meaning.words()),
            Self::NoLevel(n) => write!(f, "the unit has no alarm level {n} by its description"),
            Self::NoOutput(n) => write!(f, "the unit has no output {n} by its description"),
            Self::NoInlet(n) => write!(f, "the unit has no inlet {n} by its description"),
            Self::Learnt => f.write_str("the unit learns its thresholds: they are not those in its settings"),
            Self::NoFunction(words) => write!(f, "\"{words}\" is nothing that an output of this unit follows"),
        }
    }
}
impl Unknown {
    /// What to do about it.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::NotDescribed | Self::OtherModel { .. } => {
                "put a description of this model into the job folder, then run the job again"
            }
            Self::NotRead => "bring the unit to where its settings can be read, then run the job again",
            Self::Learnt => "switch the learning of thresholds off in the settings, load them, and try again",
            Self::NoFunction(_) => "use \"fault\", \"level 1\" and so on, or the unit's own word",
            _ => "correct the description of this model or the unit's settings, then run the job again",
        }
    }
}

/// A band of flow around the baseline, as fractions of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowBand {
    /// How far below.
    pub low: f64,
    /// How far above.
    pub high: f64,
}

/// An output with what it follows.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputUse {
    /// Number, from 1.
    pub number: u8,
    /// Its terminals as they are marked.
    pub terminals: String,
    /// What it follows.
    pub function: Function,
    /// The same in the words of its settings; in neutral words where nothing can be set.
    pub said: String,
    /// What its contact does then.
    pub contact: Contact,
}
impl OutputUse {
    /// It follows something.
    pub fn is_used(&self) -> bool {
        self.function != Function::Nothing
    }
}

/// A unit's description and the settings that it holds.
#[derive(Clone, Debug)]
pub struct UnitView<'a> {
    described: Known<&'a Description>,
    settings: Option<&'a Settings>,
}

impl<'a> UnitView<'a> {
    /// A unit with this description, if there is one, and the settings read from it, if any were. `identity` is what the
    /// unit says of itself: a description of another model tells nothing of it.
    pub fn new(
        description: Option<&'a Description>,
        identity: Option<&Identity>,
        settings: Option<&'a Settings>,
    ) -> Self {
        let described = match (description, identity) {
            (None, _) => Err(Unknown::NotDescribed),
            (Some(d), Some(i)) if (&d.maker, &d.model) != (&i.maker, &i.model) => Err(Unknown::OtherModel {
                described: alloc::format!("{} {}", d.maker, d.model),
                stated: alloc::format!("{} {}", i.maker, i.model),
            }),
            (Some(d), _) => Ok(d),
        };
        Self { described, settings }
    }
    /// The description.
    pub fn description(&self) -> Known<&'a Description> {
        self.described.clone()
    }
    fn slot(&self, meaning: Meaning) -> Known<&'a Slot> {
        self.description()?.meaning(meaning).ok_or(Unknown::NoSetting(meaning))
    }
    fn item(&self, meaning: Meaning) -> Known<&'a Item> {
        let slot = self.slot(meaning)?;
        self.settings.ok_or(Unknown::NotRead)?.get(&slot.key).ok_or(Unknown::Missing(meaning))
    }
    /// What the setting of this meaning says.
    fn says(&self, meaning: Meaning) -> Known<Sense> {
        sense(self.item(meaning)?, self.slot(meaning)?).map_err(|why| Unknown::Strange { meaning, why })
    }
    fn number(&self, meaning: Meaning) -> Known<f64> {
        match self.says(meaning)? {
            Sense::Number(x) => Ok(x),
            _ => Err(strange(meaning, "it is no number")),
        }
    }
    fn switch(&self, meaning: Meaning) -> Known<bool> {
        match self.says(meaning)? {
            Sense::Switch(on) => Ok(on),
            _ => Err(strange(meaning, "it is neither yes nor no")),
        }
    }
    fn has(&self, meaning: Meaning) -> Known<bool> {
        Ok(self.description()?.meaning(meaning).is_some())
    }
    fn level(&self, level: u8) -> Known<()> {
        if (1..=self.levels()?).contains(&level) { Ok(()) } else { Err(Unknown::NoLevel(level)) }
    }

    /// How many alarm levels it has; the lowest is 1.
    pub fn levels(&self) -> Known<u8> {
        Ok(self.description()?.levels)
    }
    /// Whether it learns its thresholds. A model that is described without such a setting does not.
    pub fn learning(&self) -> Known<bool> {
        if self.has(Meaning::Learning)? { self.switch(Meaning::Learning) } else { Ok(false) }
    }
    /// The threshold of an alarm level: where it differs by the time of day, the lowest.
    pub fn threshold(&self, level: u8) -> Known<Extinction> {
        Ok(self.thresholds(level)?.0)
    }
    /// The lowest and the highest threshold of an alarm level, which are two where it differs by the time of day.
    pub fn thresholds(&self, level: u8) -> Known<(Extinction, Extinction)> {
        self.level(level)?;
        if self.learning()? {
            return Err(Unknown::Learnt);
        }
        let slots = self.description()?.slots.iter();
        let others =
            slots.map(|s| s.meaning).filter(|m| matches!(m, Meaning::Threshold { set: 2.., level: l } if *l == level));
        let first = self.number(Meaning::Threshold { set: 1, level })?;
        let (mut least, mut most) = (first, first);
        for meaning in others {
            let other = self.number(meaning)?;
            (least, most) = (least.min(other), most.max(other));
        }
        Ok((Extinction(least), Extinction(most)))
    }
    /// How long an alarm level has to stand before it is told, s.
    pub fn delay_s(&self, level: u8) -> Known<f64> {
        self.level(level)?;
        self.number(Meaning::Delay(level))
    }
    /// Whether an alarm level stays until it is reset.
    pub fn latching(&self, level: u8) -> Known<bool> {
        self.level(level)?;
        let own = Meaning::Latching(level);
        self.switch(if self.has(own)? { own } else { Meaning::LatchingAll })
    }
    /// The band of flow outside of which it shows a flow fault.
    pub fn flow_band(&self) -> Known<FlowBand> {
        let share = |meaning| match self.number(meaning)? {
            x if x > 0.0 && x < 100.0 => Ok(x / 100.0),
            _ => Err(strange(meaning, "it is no share between 0 % and 100 %")),
        };
        Ok(FlowBand { low: share(Meaning::FlowLow)?, high: share(Meaning::FlowHigh)? })
    }
    /// How long the flow has to be outside of the band before it shows the fault, s.
    pub fn flow_delay_s(&self) -> Known<f64> {
        self.number(Meaning::FlowDelay)
    }
    /// What its flow readings, and so the per cent of its band, refer to.
    pub fn flow_reading(&self) -> Known<FlowReading> {
        Ok(self.description()?.flow)
    }
    /// The fan's setting, as the unit states it.
    pub fn fan_setting(&self) -> Known<f64> {
        self.number(Meaning::Fan)
    }
    /// Whether an inlet carries a pipe by the settings.
    pub fn carries_pipe(&self, inlet: u8) -> Known<bool> {
        if !(1..=self.description()?.inlets.1).contains(&inlet) {
            return Err(Unknown::NoInlet(inlet));
        }
        self.switch(Meaning::InletPipe(inlet))
    }
    /// An output with what it follows.
    pub fn output(&self, number: u8) -> Known<OutputUse> {
        let output = self.description()?.output(number).ok_or(Unknown::NoOutput(number))?;
        let meaning = Meaning::OutputFunction(number);
        let (function, said) = match output.fixed {
            Some(fixed) => (fixed, fixed.to_string()),
            None => match (self.says(meaning)?, &self.item(meaning)?.value) {
                (Sense::Function(f), Value::Text(said)) => (f, said.clone()),
                _ => return Err(strange(meaning, "it is no function of an output")),
            },
        };
        let contact = self.contact(output)?;
        Ok(OutputUse { number, terminals: output.terminals.clone(), function, said, contact })
    }
    fn contact(&self, output: &Output) -> Known<Contact> {
        let meaning = Meaning::OutputContact(output.number);
        if !self.has(meaning)? {
            return Ok(output.contact);
        }
        match self.says(meaning)? {
            Sense::Contact(c) => Ok(c),
            _ => Err(strange(meaning, "it is no way in which a contact acts")),
        }
    }
    /// Every output that follows something; unknown as soon as one of them is.
    pub fn outputs_in_use(&self) -> Known<Vec<OutputUse>> {
        let all: Known<Vec<OutputUse>> = self.description()?.outputs.iter().map(|o| self.output(o.number)).collect();
        Ok(all?.into_iter().filter(OutputUse::is_used).collect())
    }
    /// What these words say that an output follows: neutral words, or the maker's own.
    pub fn function_called(&self, output: u8, words: &str) -> Known<Function> {
        if let Some(neutral) = Function::parse(words) {
            return Ok(neutral);
        }
        let slot = self.description()?.meaning(Meaning::OutputFunction(output));
        let own = match slot.map(|s| &s.kind) {
            Some(Kind::Words(all)) => all.iter().find(|(w, _)| w == words).map(|(_, means)| *means),
            _ => None,
        };
        match own {
            Some(Word::Function(f)) => Ok(f),
            _ => Err(Unknown::NoFunction(words.into())),
        }
    }
}

fn strange(meaning: Meaning, why: &str) -> Unknown {
    Unknown::Strange { meaning, why: why.into() }
}
