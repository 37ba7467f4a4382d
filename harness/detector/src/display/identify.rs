//! Who the unit is, as its label says: asked in full once, and later by its serial number only.
use super::{
    Asked, Said, Step, Task,
    face::Face,
    memory::{Known, Memory},
    typed::{is_slip, same, short, yes},
};
use crate::{
    ask::Reply,
    driver::{About, Wants},
    vocabulary::Identity,
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::Instant;

/// What is asked next.
#[derive(Clone, Debug, PartialEq)]
enum Wanted {
    /// Which of the units that are known it is.
    Which,
    /// Whether the label says the model at this place in the list.
    Label(usize),
    /// What the label says.
    Typed,
    Serial,
    /// Two serial numbers differ by a slip of the fingers: the one on the label.
    OneOfTwo(String, String),
    Firmware,
    Inlets,
}

/// An identification under way.
pub(super) struct Identify {
    wanted: Wanted,
    face: Face,
    serial: String,
    firmware: String,
    /// A label that is no model's that is expected: taken when it is typed twice.
    doubted: Option<String>,
}

impl Identify {
    pub(super) fn begin(memory: &Memory) -> Self {
        let wanted = if memory.units.is_empty() { Self::label(memory) } else { Wanted::Which };
        let empty = String::new;
        Self { wanted, face: Face::default(), serial: empty(), firmware: empty(), doubted: None }
    }
    fn label(memory: &Memory) -> Wanted {
        match memory.expected() {
            Some(at) => Wanted::Label(at),
            None if memory.faces.is_empty() => Wanted::Typed,
            None => Wanted::Label(0),
        }
    }
    fn takes(&mut self, face: Face) -> Step {
        self.face = face;
        self.wanted = Wanted::Serial;
        Step::Ask
    }
    fn which(&mut self, said: Said, memory: &mut Memory) -> Step {
        let words = match (said, memory.units.as_slice()) {
            (Said::Yes, [only]) => return ends(only.clone(), memory),
            (Said::Words(w), [only]) if yes(&w) => return ends(only.clone(), memory),
            (Said::Words(words), _) => words,
            (Said::Yes, _) => return Step::Again("which of them it is counts: type its serial number".into()),
            (Said::Cannot(why), _) => return Step::not_told(&why),
            (Said::No(_), _) => "other".to_string(),
        };
        if let Some(unit) = memory.units.iter().find(|u| same(&u.identity.serial, &words)) {
            return ends(unit.clone(), memory);
        }
        if same(&words, "other") {
            self.wanted = Self::label(memory);
            return Step::Ask;
        }
        let near = memory.units.iter().find(|u| is_slip(&u.identity.serial, &words));
        let hint = near.map_or_else(
            || "type one of these numbers, or: other".to_string(),
            |u| {
                format!(
                    "the number typed before is {}: look at the label; if it is another unit, type: other",
                    u.identity.serial
                )
            },
        );
        Step::Again(format!("{} is none of these; {hint}", short(&words)))
    }
    fn typed_label(&mut self, words: &str, memory: &Memory) -> Step {
        let fits = |face: &&Face| same(&face.label(), words) || same(&face.model, words);
        if let Some(face) = memory.faces.iter().find(fits) {
            return self.takes(face.clone());
        }
        if words.is_empty() {
            return Step::Again("type the words on the label".into());
        }
        if memory.faces.is_empty() || self.doubted.as_deref().is_some_and(|before| same(before, words)) {
            return self.takes(Face::stranger(words));
        }
        self.doubted = Some(words.into());
        self.wanted = Wanted::Typed;
        let expected: Vec<String> = memory.faces.iter().map(Face::label).collect();
        Step::Again(format!(
            "{} is none that is expected here ({}); type it once more if the label says so",
            short(words),
            expected.join(", ")
        ))
    }
    fn serial(&mut self, words: &str, memory: &Memory) -> Step {
        if words.is_empty() {
            return Step::Again("a unit without a serial number can't be told from another".into());
        }
        let before = memory.units.iter().map(|u| &u.identity.serial);
        let near = before.chain(&self.face.serial).find(|known| is_slip(known, words));
        let known =
            memory.units.iter().any(|u| u.identity.serial == words) || self.face.serial.as_deref() == Some(words);
        match near {
            Some(near) if !known => {
                self.wanted = Wanted::OneOfTwo(near.clone(), words.into());
                Step::Ask
            }
            _ => self.takes_serial(words),
        }
    }
    fn takes_serial(&mut self, words: &str) -> Step {
        self.serial = words.into();
        self.wanted = Wanted::Firmware;
        Step::Ask
    }
    fn ends(&self, inlets: u8, memory: &mut Memory) -> Step {
        let identity = Identity {
            maker: self.face.maker.clone(),
            model: self.face.model.clone(),
            serial: self.serial.clone(),
            firmware: self.firmware.clone(),
            boot_id: None,
        };
        ends(Known { identity, abilities: self.face.abilities(inlets), face: self.face.clone() }, memory)
    }
}

/// The person stands at this unit.
fn ends(unit: Known, memory: &mut Memory) -> Step {
    let unit = memory.stands_at(unit);
    Step::told(Reply::Identity((unit.identity.clone(), unit.abilities.clone())))
}

impl Task for Identify {
    fn ask(&self, memory: &Memory) -> Asked {
        let text = |about, text: String| Asked { about, text, wants: Wants::Text };
        match &self.wanted {
            Wanted::Which => {
                let serials: Vec<String> = memory.units.iter().map(|u| u.identity.serial.clone()).collect();
                let named = |u: &Known| format!("{} ({})", u.identity.serial, u.face.label());
                let about = About::Which { serials };
                match memory.units.as_slice() {
                    [only] => {
                        // What was mistyped can be put right here, and not only another unit told.
                        let firmware = match only.identity.firmware.as_str() {
                            "" => "firmware not told".to_string(),
                            firmware => format!("firmware {firmware}"),
                        };
                        let named = named(only);
                        let text = format!(
                            "Is the unit that you stand at still {named}, {firmware}? No: it is identified anew, where one of these was mistyped too"
                        );
                        Asked { about, text, wants: Wants::YesNo }
                    }
                    all => {
                        let all: Vec<String> = all.iter().map(named).collect();
                        let all = all.join(" or ");
                        text(about, format!("Which unit do you stand at: {all}? Type its serial number, or: other"))
                    }
                }
            }
            Wanted::Label(at) => {
                let label = memory.faces.get(*at).map(Face::label).unwrap_or_default();
                let asked = format!("Is the label at the unit: {label}? Type yes, or what it says instead");
                text(About::Label { label }, asked)
            }
            Wanted::Typed => {
                text(About::Label { label: String::new() }, "Maker and model, as the label at the unit says".into())
            }
            Wanted::Serial => text(About::Serial, "Serial number, as the label says".into()),
            Wanted::OneOfTwo(before, now) => text(
                About::Serial,
                format!("{before} was stated before, {now} is typed now: which is on the label? Type it once more"),
            ),
            Wanted::Firmware => text(
                About::Firmware,
                format!(
                    "Serial number {} (no: type it again). Firmware version, as display or label say; - where neither does",
                    self.serial
                ),
            ),
            Wanted::Inlets => text(About::Inlets, "How many inlets does the unit have?".into()),
        }
    }
    fn take(&mut self, _: Instant, said: Said, memory: &mut Memory) -> Step {
        match (self.wanted.clone(), said) {
            (Wanted::Which, said) => self.which(said, memory),
            (Wanted::Label(at), Said::Yes) => self.takes(memory.faces.get(at).cloned().unwrap_or_default()),
            (Wanted::Label(at), Said::Words(w)) if yes(&w) => {
                self.takes(memory.faces.get(at).cloned().unwrap_or_default())
            }
            (Wanted::Label(at), Said::No(_)) => {
                let next = at + 1;
                self.wanted = if next < memory.faces.len() { Wanted::Label(next) } else { Wanted::Typed };
                Step::Ask
            }
            (Wanted::Label(_) | Wanted::Typed, Said::Words(words)) => self.typed_label(&words, memory),
            (Wanted::Serial, Said::Words(words)) => self.serial(&words, memory),
            (Wanted::OneOfTwo(before, now), Said::Words(words)) => {
                if same(&words, &before) || same(&words, &now) {
                    let typed = if same(&words, &before) { before } else { now };
                    return self.takes_serial(&typed);
                }
                Step::Again(format!("{} is neither of the two", short(&words)))
            }
            (Wanted::Firmware, Said::No(_)) => {
                self.wanted = Wanted::Serial;
                Step::Ask
            }
            (Wanted::Firmware, Said::Words(words)) => {
                self.firmware = if words == "-" { String::new() } else { words };
                self.wanted = Wanted::Inlets;
                match self.face.inlets {
                    (fewest, most) if fewest == most => self.ends(most, memory),
                    _ => Step::Ask,
                }
            }
            (Wanted::Inlets, Said::Words(words)) => {
                let (fewest, most) = self.face.inlets;
                match words.trim_end_matches(" inlets").parse::<u8>() {
                    Ok(n) if (fewest..=most).contains(&n) => self.ends(n, memory),
                    _ => Step::Again(format!("a unit of this model has between {fewest} and {most} inlets")),
                }
            }
            (_, Said::No(why) | Said::Cannot(why)) => Step::not_told(&why),
            (_, Said::Yes) => Step::Again("it has to be typed".into()),
        }
    }
}
