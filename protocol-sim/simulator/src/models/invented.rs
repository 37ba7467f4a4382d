//! The two invented models that a simulation plays if it is told no other: an outgoing one and its replacement. They differ as
//! such units do: keys and schema of the settings, unit of obscuration, number of alarm levels and outputs, what a flow
//! reading means, the fan.
//!
//! Invented, every one; nothing here resembles a product.
use super::{Allowed, FanDrive, Follows, LONGEST, Meaning, Model, Readings, Slot, Spoken, Word};
use crate::{
    device::settings::{Setting, SettingValue},
    scenario::Which,
};
use plumeline_base::pipework::{AirPath, CurveInterpolation, Drive, Fan, FanPoint, Loss};

/// Most inlets that a unit of either model has.
const INLETS: u8 = 8;

impl Model {
    /// The invented model of that unit.
    pub fn of(which: Which) -> Self {
        match which {
            Which::Outgoing => outgoing(),
            Which::Replacement => replacement(),
        }
    }
}
fn outgoing() -> Model {
    Model {
        maker: "Invented Maker".into(),
        name: "Model A".into(),
        firmware: "1.7.2".into(),
        schema: "model-a.3".into(),
        serial: 'A',
        levels: 4,
        outputs: vec![Follows::Nothing; 5],
        inputs: 1,
        flow_reference: Some((20.0, 101_325.0)),
        fan: FanDrive {
            full_speed_rev_s: 62.0,
            spin_s: 2.5,
            speeds: (1..=10).map(f64::from).map(|step| (step, 0.5 + 0.05 * step)).collect(),
        },
        current_a: (0.11, 0.19),
        boot_s: 24.0,
        readings: Readings { rate_max_hz: 10, ..Readings::default() },
        air_path: air_path(Which::Outgoing),
        spoken: Spoken::Plumewire,
        slots: outgoing_slots(),
    }
}
fn replacement() -> Model {
    Model {
        maker: "Invented Maker".into(),
        name: "Model B".into(),
        firmware: "4.0.1".into(),
        schema: "model-b.1".into(),
        serial: 'B',
        levels: 3,
        outputs: vec![Follows::Nothing; 4],
        inputs: 2,
        flow_reference: None,
        fan: FanDrive { full_speed_rev_s: 90.0, spin_s: 3.5, speeds: vec![(40.0, 0.4), (100.0, 1.0)] },
        current_a: (0.14, 0.31),
        boot_s: 30.0,
        readings: Readings { rate_max_hz: 20, ..Readings::default() },
        air_path: air_path(Which::Replacement),
        spoken: Spoken::Plumewire,
        slots: replacement_slots(),
    }
}

/// The settings of the outgoing unit as its site has them (not the factory's), with pipes in the inlets `used`. A model
/// without these keys keeps what its factory set.
pub fn site_settings(model: &Model, inlets: u8, used: &[bool]) -> Vec<Setting> {
    let mut settings = model.factory_settings(inlets);
    let mut set = |key: &str, value: SettingValue| {
        if let Some(s) = settings.iter_mut().find(|s| s.key == key) {
            s.value = value;
        }
    };
    for (n, (at, wait)) in ["0.012", "0.020", "0.050", "0.150"].into_iter().zip(["10", "5", "5", "0"]).enumerate() {
        set(&format!("level.{}.at", n + 1), SettingValue::number(at));
        set(&format!("level.{}.wait", n + 1), SettingValue::number(wait));
    }
    set("air.low", SettingValue::number("20"));
    set("air.high", SettingValue::number("20"));
    set("air.wait", SettingValue::number("2.5"));
    set("fan.step", SettingValue::number("9"));
    set("name.place", text("Invented store, aisles 1 to 4"));
    for (n, what) in ["trouble", "level-1", "level-2", "level-3", "level-4"].into_iter().enumerate() {
        set(&format!("relay.{}.on", n + 1), text(what));
    }
    for n in 0..inlets {
        let fitted = used.get(usize::from(n)).copied().unwrap_or(false);
        set(&format!("pipe.{}.fitted", n + 1), SettingValue::Switch(fitted));
    }
    settings
}

fn text(t: &str) -> SettingValue {
    SettingValue::Text(t.into())
}
fn slot(meaning: Meaning, key: impl Into<String>, value: SettingValue, unit: Option<&str>, allowed: Allowed) -> Slot {
    let inlet = if let Meaning::Inlet(n) = meaning { Some(n) } else { None };
    Slot { factory: Setting { key: key.into(), value, unit: unit.map(Into::into) }, allowed, meaning, inlet }
}
fn number(
    meaning: Meaning,
    key: impl Into<String>,
    written: &str,
    unit: Option<&str>,
    (low, high): (f64, f64),
) -> Slot {
    slot(meaning, key, SettingValue::number(written), unit, Allowed::Number { low, high })
}
fn switch(meaning: Meaning, key: impl Into<String>, on: bool) -> Slot {
    slot(meaning, key, SettingValue::Switch(on), None, Allowed::Switch)
}
fn label(key: &str) -> Slot {
    slot(Meaning::Opaque, key, text(""), None, Allowed::Text(LONGEST))
}
/// An output's setting: `words` for nothing and for a fault, then one for each level.
fn output(n: u8, key: String, words: [&str; 2], level: &str, levels: u8) -> Slot {
    let mut list = vec![
        (words[0].to_owned(), Word::Follows(Follows::Nothing)),
        (words[1].to_owned(), Word::Follows(Follows::Fault)),
    ];
    list.extend((1..=levels).map(|n| (format!("{level}-{n}"), Word::Follows(Follows::Level(n)))));
    slot(Meaning::Output(n), key, text(words[usize::from(n == 1)]), None, Allowed::OneOf(list))
}

fn outgoing_slots() -> Vec<Slot> {
    use Meaning as M;
    let block = SettingValue::Bytes(vec![0x41, 0x07, 0x00, 0x3C]);
    let mut s = vec![
        number(M::FlowLow, "air.low", "15", Some("%"), (5.0, 50.0)),
        number(M::FlowHigh, "air.high", "15", Some("%"), (5.0, 50.0)),
        number(M::FlowDelay, "air.wait", "1", Some("min"), (0.1, 5.0)),
        number(M::Fan, "fan.step", "10", None, (1.0, 10.0)),
        switch(M::LatchingAll, "levels.latch", true),
        slot(M::Opaque, "maker.block", block, None, Allowed::Bytes(LONGEST)),
        label("name.place"),
        number(M::ClockZone, "time.zone", "0", Some("h"), (-12.0, 14.0)),
    ];
    for (n, at) in (1..).zip(["0.025", "0.050", "0.100", "0.600"]) {
        s.push(number(M::Threshold(n), format!("level.{n}.at"), at, Some("%/ft"), (0.005, 6.0)));
        s.push(number(M::Delay(n), format!("level.{n}.wait"), "10", Some("s"), (0.0, 60.0)));
    }
    s.extend((1..=5).map(|n| output(n, format!("relay.{n}.on"), ["nothing", "trouble"], "level", 4)));
    s.extend((1..=INLETS).map(|n| switch(M::Inlet(n), format!("pipe.{n}.fitted"), n == 1)));
    s
}
fn replacement_slots() -> Vec<Slot> {
    use Meaning as M;
    let mut s = vec![
        number(M::ClockZone, "clock.offset", "0", Some("min"), (-720.0, 840.0)),
        number(M::Fan, "fan.speed", "100", Some("%"), (40.0, 100.0)),
        number(M::FlowDelay, "flow.delay", "60", Some("s"), (10.0, 300.0)),
        number(M::FlowHigh, "flow.high", "30", Some("%"), (5.0, 50.0)),
        number(M::FlowLow, "flow.low", "30", Some("%"), (5.0, 50.0)),
        label("label.site"),
        label("label.zone"),
        switch(M::Learning, "learning.on", false),
    ];
    for (n, at) in (1..).zip(["0.08", "0.14", "0.20"]) {
        s.push(number(M::Threshold(n), format!("alarm.{n}.threshold"), at, Some("%/m"), (0.01, 20.0)));
        s.push(number(M::Delay(n), format!("alarm.{n}.delay"), "10", Some("s"), (0.0, 60.0)));
        s.push(switch(M::Latching(n), format!("alarm.{n}.latched"), true));
    }
    s.extend((1..=4).map(|n| output(n, format!("output.{n}.function"), ["none", "fault"], "alarm", 3)));
    s.extend((1..=INLETS).map(|n| switch(M::Inlet(n), format!("inlet.{n}.used"), n == 1)));
    s
}

/// A fan curve from (L/min, Pa) pairs at 1.2 kg/m3.
fn fan(points: &[(f64, f64)]) -> Fan {
    let curve =
        points.iter().map(|&(l_min, pressure_pa)| FanPoint { flow_m3_s: l_min / 60_000.0, pressure_pa }).collect();
    Fan {
        curve,
        interpolation: CurveInterpolation::MonotoneCubic,
        speed: 1.0,
        reference_density: 1.2,
        u_pressure: 0.02,
    }
}
/// The air path of a model as its maker states it.
pub fn air_path(which: Which) -> AirPath {
    match which {
        Which::Outgoing => AirPath {
            loss: Loss { linear: 8e3, quadratic: 1.2e7 },
            volume_m3: 4e-4,
            sensor_lag_s: 2.0,
            drive: Drive::Fan(fan(&[(0.0, 260.0), (40.0, 245.0), (80.0, 205.0), (120.0, 140.0), (170.0, 0.0)])),
            exhaust_loss: Loss { linear: 0.0, quadratic: 2e6 },
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
        Which::Replacement => AirPath {
            loss: Loss { linear: 6e3, quadratic: 9e6 },
            volume_m3: 3e-4,
            sensor_lag_s: 1.5,
            drive: Drive::Fan(fan(&[(0.0, 420.0), (50.0, 400.0), (100.0, 340.0), (160.0, 210.0), (220.0, 0.0)])),
            exhaust_loss: Loss { linear: 0.0, quadratic: 2e6 },
            exhaust_pa: 0.0,
            exhaust_elevation_m: 0.0,
        },
    }
}
