//! A description and what it leaves open, turned into a model that the simulator plays.
//!
//! Not here: how descriptions are read (the job crate), how a unit behaves (the simulator).
use crate::failure::Failure;
use plumeline_base::{
    obscuration::{Extinction, ObscurationUnit},
    pipework::{AirPath, Drive},
    quantity::M3_S_PER_L_MIN,
};
use plumeline_detector::{
    lines::{
        self,
        map::{Part, Template},
    },
    registers::{Map, map::Protocol},
    settings::{Item, Settings, Value},
};
use plumeline_job::{TEXT_LIMIT, description, input_file};
use plumeline_simulator::{
    device::settings::{Setting, SettingValue},
    models::{
        Allowed, FanDrive, Follows, Framing, LONGEST, Meaning as Means, Model, Readings, RegisterBus, Slot as Played,
        Spoken, Word as Says,
    },
    scenario::Which,
};
use plumeline_unit::{
    Description, Meaning,
    description::{FlowReading, Kind, Slot, UnitAir, Word},
    meaning::Function,
};
use serde::Deserialize;
use std::path::Path;

/// The hardware of the shipped models, by the names of their descriptions.
const HARDWARE: [(&str, &str); 7] = [
    ("model-b", include_str!("../units/model-b.toml")),
    ("model-c", include_str!("../units/model-c.toml")),
    ("model-d", include_str!("../units/model-d.toml")),
    ("model-e", include_str!("../units/model-e.toml")),
    ("model-f", include_str!("../units/model-f.toml")),
    ("model-g", include_str!("../units/model-g.toml")),
    ("model-h", include_str!("../units/model-h.toml")),
];
/// Reference conditions of mass-type sensors, degC and Pa: those of the invented models.
const REFERENCE: (f64, f64) = (20.0, 101_325.0);

/// What a description does not say and a unit that is played needs. Invented for every model.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Hardware {
    /// Firmware version.
    pub firmware: String,
    /// First letter of its serial numbers.
    pub serial: char,
    /// Fan speed at 100 %, revolutions per second.
    pub full_speed_rev_s: f64,
    /// Time constant of the fan's spin-up, s.
    pub spin_s: f64,
    /// Current at idle and of the fan at 100 %, A.
    pub current_a: (f64, f64),
    /// Time from power to running, s.
    pub boot_s: f64,
    /// Highest rate of readings, Hz.
    pub rate_max_hz: u8,
    /// Step of a flow reading, L/min; 0: as fine as the sensor.
    pub flow_step_l_min: f64,
    /// Step of an obscuration reading, %/m; 0: as fine as the sensor.
    pub smoke_step_percent_m: f64,
    /// Time constant over which flow readings are smoothed, s.
    pub flow_smoothing_s: f64,
    /// Time constant over which obscuration readings are smoothed, s.
    pub smoke_smoothing_s: f64,
}
impl Default for Hardware {
    fn default() -> Self {
        Self {
            firmware: "1.0.0".into(),
            serial: 'X',
            full_speed_rev_s: 80.0,
            spin_s: 3.0,
            current_a: (0.12, 0.25),
            boot_s: 25.0,
            rate_max_hz: 10,
            flow_step_l_min: 0.0,
            smoke_step_percent_m: 0.0,
            flow_smoothing_s: 0.0,
            smoke_smoothing_s: 0.0,
        }
    }
}

/// The replacement of that name, or that the description at that path is of, to be played.
///
/// # Errors
/// There is none, or its description is not sound.
pub fn find(name: &str) -> Result<Model, Failure> {
    let shipped = description::SHIPPED.iter().find(|(n, _)| *n == name);
    let bytes = match shipped {
        Some((_, text)) => text.as_bytes().to_vec(),
        None => {
            let path = Path::new(name);
            input_file::read(path, "read the description", TEXT_LIMIT as u64)?
        }
    };
    Ok(model(&description::parse(name, &bytes)?, &hardware(name)?))
}
/// As [`find`]; a path is relative to the folder of `file`, which names it.
///
/// # Errors
/// As [`find`].
pub fn find_beside(file: &Path, name: &str) -> Result<Model, Failure> {
    if description::SHIPPED.iter().any(|(n, _)| *n == name) {
        return find(name);
    }
    find(&file.parent().unwrap_or(Path::new(".")).join(name).display().to_string())
}
/// The model that is described, on the hardware that goes with it where the tool ships that.
///
/// # Errors
/// What is shipped is not sound, which is a fault of the tool.
pub fn of(described: &Description) -> Result<Model, Failure> {
    for (name, text) in description::SHIPPED {
        if described.is_model(&description::parse(name, text.as_bytes())?) {
            return Ok(model(described, &hardware(name)?));
        }
    }
    Ok(model(described, &Hardware::default()))
}
/// The hardware that is known by that name, else any.
fn hardware(name: &str) -> Result<Hardware, Failure> {
    let Some((_, text)) = HARDWARE.iter().find(|(n, _)| *n == name) else { return Ok(Hardware::default()) };
    toml::from_str(text).map_err(|e| Failure::internal(format!("the hardware of {name}: {e}")))
}

/// The model that is described, on this hardware. One whose air path is not described has that of the invented replacement.
pub fn model(described: &Description, hardware: &Hardware) -> Model {
    let step = Extinction::from_stated(hardware.smoke_step_percent_m, ObscurationUnit::PercentPerMetre);
    let air = described.air.as_ref();
    Model {
        maker: described.maker.clone(),
        name: described.model.clone(),
        firmware: hardware.firmware.clone(),
        schema: described.model.to_lowercase().replace(' ', "-") + ".1",
        serial: hardware.serial,
        levels: described.levels,
        outputs: described.outputs.iter().map(|o| o.fixed.map_or(Follows::Nothing, follows)).collect(),
        inputs: described.inputs,
        flow_reference: (described.flow == FlowReading::Reference).then_some(REFERENCE),
        fan: FanDrive {
            full_speed_rev_s: hardware.full_speed_rev_s,
            spin_s: hardware.spin_s,
            speeds: air.map_or_else(Vec::new, |a| a.speeds.clone()),
        },
        current_a: hardware.current_a,
        boot_s: hardware.boot_s,
        readings: Readings {
            rate_max_hz: hardware.rate_max_hz,
            flow_step_m3_s: hardware.flow_step_l_min * M3_S_PER_L_MIN,
            extinction_step_per_m: step.map_or(0.0, |e| e.0),
            flow_smoothing_s: hardware.flow_smoothing_s,
            extinction_smoothing_s: hardware.smoke_smoothing_s,
        },
        air_path: air.map_or_else(|| Model::of(Which::Replacement).air_path, air_path),
        spoken: spoken(described),
        slots: described.slots.iter().map(slot).collect(),
    }
}
/// The simulator has one table of registers for all models; this is the map of it, whatever the order of bytes that it states.
pub fn plays(map: &Map) -> bool {
    // As text: what stands for no reading may be no number, which equals nothing.
    let table = |map: &Map| format!("{:?}", (&map.numbers, &map.flags, &map.texts, &map.settings, &map.commands));
    let shipped = |(_, text): &(&str, &str)| description::parse("shipped", text.as_bytes()).ok()?.registers;
    description::SHIPPED.iter().filter_map(shipped).any(|own| table(&own) == table(map))
}
/// The simulator has one kind of line for all models; this is the description of it.
pub fn prints(map: &lines::Map) -> bool {
    let shipped = |(_, text): &(&str, &str)| description::parse("shipped", text.as_bytes()).ok()?.lines;
    description::SHIPPED.iter().filter_map(shipped).any(|own| tells_no_more(&own, map))
}
/// The lines are those of this map, each of its fields read in the same way or passed over.
fn tells_no_more(own: &lines::Map, map: &lines::Map) -> bool {
    let field = |map: &lines::Map, i: usize| map.fields.get(i).cloned();
    let part = |(own_part, part): (&Part, &Part)| match (own_part, part) {
        (Part::Field(a), Part::Field(b)) => field(own, *a) == field(map, *b),
        (Part::Field(_), Part::Skip) => true,
        (a, b) => a == b,
    };
    let line = |(a, b): (&Template, &Template)| a.0.len() == b.0.len() && a.0.iter().zip(&b.0).all(part);
    own.lines.len() == map.lines.len() && own.lines.iter().zip(&map.lines).all(line)
}
/// A unit with a table or lines of its own is played by the other protocol.
fn spoken(described: &Description) -> Spoken {
    let map = match (&described.registers, &described.lines) {
        (Some(map), _) if plays(map) => map,
        (None, Some(lines)) if prints(lines) => return Spoken::Lines,
        _ => return Spoken::Plumewire,
    };
    let framing = match map.bus.protocol {
        Protocol::Rtu => Framing::Rtu,
        Protocol::Ascii => Framing::Ascii,
        Protocol::Tcp => Framing::Tcp,
    };
    Spoken::Registers(RegisterBus { framing, address: map.bus.address })
}

fn slot(slot: &Slot) -> Played {
    let (unit, allowed, empty) = match &slot.kind {
        Kind::Switch => (None, Allowed::Switch, SettingValue::Switch(false)),
        Kind::Number { unit, low, high, .. } => {
            (unit.clone(), Allowed::Number { low: *low, high: *high }, number(*low))
        }
        Kind::Words(words) => {
            let first = words.first().map(|(w, _)| w.clone()).unwrap_or_default();
            let words = words.iter().map(|(text, word)| (text.clone(), says(*word))).collect();
            (None, Allowed::OneOf(words), SettingValue::Text(first))
        }
        Kind::Text { longest } => (None, Allowed::Text(most(*longest)), SettingValue::Text(String::new())),
        Kind::Bytes { longest } => (None, Allowed::Bytes(most(*longest)), SettingValue::Bytes(Vec::new())),
    };
    // What the description leaves open is delivered empty, or least.
    let value = slot.default.as_ref().map_or(empty, value);
    let factory = Setting { key: slot.key.clone(), value, unit };
    Played { factory, allowed, meaning: means(slot.meaning), inlet: slot.inlet }
}
fn most(longest: u32) -> usize {
    (longest as usize).min(LONGEST)
}
fn number(n: f64) -> SettingValue {
    SettingValue::number(&n.to_string())
}
/// Settings as a simulated unit holds them.
pub(crate) fn settings(settings: &Settings) -> Vec<Setting> {
    let held = |i: &Item| Setting { key: i.key.clone(), value: value(&i.value), unit: i.unit.clone() };
    settings.items.iter().map(held).collect()
}
fn value(value: &Value) -> SettingValue {
    match value {
        Value::Bool(on) => SettingValue::Switch(*on),
        Value::Int(n) => SettingValue::number(&n.to_string()),
        Value::Number(n) => number(*n),
        Value::Text(t) => SettingValue::Text(t.clone()),
        Value::Opaque { hex } => SettingValue::Bytes(base16ct::mixed::decode_vec(hex).unwrap_or_default()),
    }
}
const fn means(meaning: Meaning) -> Means {
    match meaning {
        Meaning::Threshold { set: 1, level } => Means::Threshold(level),
        Meaning::Delay(n) => Means::Delay(n),
        Meaning::Latching(n) => Means::Latching(n),
        Meaning::LatchingAll => Means::LatchingAll,
        Meaning::FlowLow => Means::FlowLow,
        Meaning::FlowHigh => Means::FlowHigh,
        Meaning::FlowDelay => Means::FlowDelay,
        Meaning::OutputFunction(n) => Means::Output(n),
        Meaning::OutputLatching(n) => Means::OutputLatching(n),
        Meaning::InletPipe(n) => Means::Inlet(n),
        Meaning::Fan => Means::Fan,
        Meaning::ClockZone => Means::ClockZone,
        Meaning::Learning => Means::Learning,
        // Labels, dates, addresses. The set of the day is always in force, inputs do nothing, and a contact's way of acting is
        // a matter of its wires.
        Meaning::Threshold { .. }
        | Meaning::SetFrom(_)
        | Meaning::InputFunction(_)
        | Meaning::OutputContact(_)
        | Meaning::LabelSite
        | Meaning::LabelZone
        | Meaning::LabelUnit
        | Meaning::FilterChanged
        | Meaning::FilterDue
        | Meaning::Address
        | Meaning::Vendor => Means::Opaque,
    }
}
const fn follows(function: Function) -> Follows {
    match function {
        Function::Fault => Follows::Fault,
        Function::FlowFault => Follows::FlowFault,
        Function::Level(n) => Follows::Level(n),
        Function::Power => Follows::Power,
        // The others are what inputs do.
        Function::Nothing | Function::Reset | Function::Isolate | Function::NextSet => Follows::Nothing,
    }
}
const fn says(word: Word) -> Says {
    match word {
        Word::Switch(on) => Says::Switch(on),
        Word::Function(f) => Says::Follows(follows(f)),
        Word::Contact(_) | Word::Own => Says::Own,
    }
}
fn air_path(air: &UnitAir) -> AirPath {
    AirPath {
        loss: air.loss,
        volume_m3: air.volume_m3,
        sensor_lag_s: air.sensor_lag_s,
        drive: Drive::Fan(air.fan.clone()),
        exhaust_loss: air.exhaust_loss,
        exhaust_pa: 0.0,
        exhaust_elevation_m: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_simulator::device::settings::to_image;
    /// The invented models that the simulator plays by itself are those that are described.
    #[test]
    fn models_a_and_b_are_described_as_they_are() {
        for (which, name) in [(Which::Outgoing, "model-a"), (Which::Replacement, "model-b")] {
            let (real, mine) = (Model::of(which), find(name).unwrap());
            assert_eq!((&mine.maker, &mine.name), (&real.maker, &real.name));
            assert_eq!(
                (mine.levels, mine.inputs, mine.flow_reference),
                (real.levels, real.inputs, real.flow_reference)
            );
            assert_eq!(mine.outputs, real.outputs);
            for step in 1..=100 {
                let step = f64::from(step);
                assert!((mine.fan.speed(step) - real.fan.speed(step)).abs() < 1e-12, "fan at {step}");
            }
            for inlets in 1..=8 {
                let (mine, real) = (mine.schema(inlets), real.schema(inlets));
                assert_eq!(mine.len(), real.len());
                for (mine, real) in mine.iter().zip(&real) {
                    same_slot(mine, real);
                }
            }
            same_air(&mine.air_path, &real.air_path);
            if which == Which::Replacement {
                assert_eq!((mine.current_a, mine.boot_s, mine.readings), (real.current_a, real.boot_s, real.readings));
                assert_eq!(
                    (&mine.firmware, mine.serial, mine.fan.spin_s),
                    (&real.firmware, real.serial, real.fan.spin_s)
                );
            }
        }
    }
    fn same_slot(mine: &Played, real: &Played) {
        let key = &real.factory.key;
        assert_eq!((&mine.factory.key, &mine.factory.unit), (key, &real.factory.unit));
        assert_eq!((mine.meaning, mine.inlet), (real.meaning, real.inlet), "{key}");
        match (&mine.factory.value, &real.factory.value) {
            (SettingValue::Number(a), SettingValue::Number(b)) => assert_eq!(a.to_f64(), b.to_f64(), "{key}"),
            (a, b) => assert_eq!(a, b, "{key}"),
        }
        match (&mine.allowed, &real.allowed) {
            (Allowed::OneOf(a), Allowed::OneOf(b)) => {
                assert!(a.len() == b.len() && a.iter().all(|w| b.contains(w)), "{key}: {a:?} for {b:?}");
            }
            (a, b) => assert_eq!(a, b, "{key}"),
        }
    }
    fn same_air(mine: &AirPath, real: &AirPath) {
        let (Drive::Fan(a), Drive::Fan(b)) = (&mine.drive, &real.drive) else { panic!("no fan") };
        for (a, b) in a.curve.iter().zip(&b.curve) {
            assert!((a.flow_m3_s - b.flow_m3_s).abs() < 1e-12 && a.pressure_pa == b.pressure_pa);
        }
        for (a, b) in [(mine.loss, real.loss), (mine.exhaust_loss, real.exhaust_loss)] {
            assert!((a.linear - b.linear).abs() < 1e-6 && (a.quadratic - b.quadratic).abs() < 1e-3);
        }
        assert!((mine.volume_m3 - real.volume_m3).abs() < 1e-12);
    }
    /// Every shipped description makes a unit that starts with its factory settings.
    #[test]
    fn every_description_can_be_played() {
        for (name, text) in description::SHIPPED {
            let (few, many) = description::parse(name, text.as_bytes()).unwrap().inlets;
            let model = find(name).unwrap();
            for inlets in few..=many {
                let spare = model.factory_settings(inlets);
                assert_eq!(model.accepts(&spare, inlets), Ok(()), "{name} with {inlets} inlets");
                assert!(to_image(&spare).is_ok(), "{name}: {:?}", to_image(&spare));
            }
        }
    }
}
