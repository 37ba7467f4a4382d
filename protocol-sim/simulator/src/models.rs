//! The two invented models of detector: the outgoing one and its replacement. They differ as such units do: keys and
//! schema of the settings, unit of obscuration, number of alarm levels and outputs, what a flow reading means, the fan.
//!
//! Invented, every one; nothing here resembles a product. Not here: what a unit does with its settings.
use crate::{
    device::settings::{Allowed, Setting, SettingValue, Slot},
    scenario::Which,
};
use plumeline_base::pipework::{AirPath, CurveInterpolation, Drive, Fan, FanPoint, Loss};
use plumewire::image::Decimal;

/// Facts of a model.
#[derive(Clone, Copy, Debug)]
pub struct Model {
    /// Which of the two.
    pub which: Which,
    /// Name of the maker.
    pub maker: &'static str,
    /// Name of the model.
    pub name: &'static str,
    /// Firmware version.
    pub firmware: &'static str,
    /// Name of the settings' schema.
    pub schema: &'static str,
    /// Alarm levels.
    pub levels: u8,
    /// Outputs.
    pub outputs: u8,
    /// Inputs.
    pub inputs: u8,
    /// Reference conditions of a flow reading, degC and Pa; `None`: actual volume.
    pub flow_reference: Option<(f64, f64)>,
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
}

/// The outgoing model.
const OUTGOING: Model = Model {
    which: Which::Outgoing,
    maker: "Invented Maker",
    name: "Model A",
    firmware: "1.7.2",
    schema: "model-a.3",
    levels: 4,
    outputs: 5,
    inputs: 1,
    flow_reference: Some((20.0, 101_325.0)),
    full_speed_rev_s: 62.0,
    spin_s: 2.5,
    current_a: (0.11, 0.19),
    boot_s: 24.0,
    rate_max_hz: 10,
};
/// The replacement model.
const REPLACEMENT: Model = Model {
    which: Which::Replacement,
    maker: "Invented Maker",
    name: "Model B",
    firmware: "4.0.1",
    schema: "model-b.1",
    levels: 3,
    outputs: 4,
    inputs: 2,
    flow_reference: None,
    full_speed_rev_s: 90.0,
    spin_s: 3.5,
    current_a: (0.14, 0.31),
    boot_s: 30.0,
    rate_max_hz: 20,
};

impl Model {
    /// The model of that unit.
    pub const fn of(which: Which) -> &'static Self {
        match which {
            Which::Outgoing => &OUTGOING,
            Which::Replacement => &REPLACEMENT,
        }
    }
    /// Every setting that the model has with `inlets` inlets, with what it takes and its factory value, by key.
    pub fn schema(&self, inlets: u8) -> Vec<Slot> {
        let mut slots = match self.which {
            Which::Outgoing => outgoing_schema(inlets),
            Which::Replacement => replacement_schema(inlets),
        };
        slots.sort_by(|a, b| a.factory.key.cmp(&b.factory.key));
        slots
    }
    /// The settings as the factory delivers them, by key.
    pub fn factory_settings(&self, inlets: u8) -> Vec<Setting> {
        self.schema(inlets).into_iter().map(|s| s.factory).collect()
    }
    /// The model's air path as its maker states it.
    pub fn air_path(&self) -> AirPath {
        air_path(self.which)
    }
}

/// The settings of the outgoing unit as its site has them (not the factory's), with pipes in the inlets `used`.
pub fn site_settings(inlets: u8, used: &[bool]) -> Vec<Setting> {
    let mut settings = Model::of(Which::Outgoing).factory_settings(inlets);
    let mut set = |key: &str, value: SettingValue| {
        if let Some(s) = settings.iter_mut().find(|s| s.key == key) {
            s.value = value;
        }
    };
    for (n, (at, wait)) in ["0.012", "0.020", "0.050", "0.150"].into_iter().zip([10, 5, 5, 0]).enumerate() {
        set(&format!("level.{}.at", n + 1), decimal(at));
        set(&format!("level.{}.wait", n + 1), whole(wait));
    }
    set("air.low", whole(20));
    set("air.high", whole(20));
    set("air.wait", decimal("2.5"));
    set("fan.step", whole(9));
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

fn whole(n: i64) -> SettingValue {
    SettingValue::Number(Decimal::whole(n))
}
fn decimal(written: &str) -> SettingValue {
    SettingValue::Number(Decimal::parse(written).unwrap_or_default())
}
fn text(t: &str) -> SettingValue {
    SettingValue::Text(t.into())
}
fn slot(key: impl Into<String>, value: SettingValue, unit: Option<&str>, allowed: Allowed) -> Slot {
    Slot { factory: Setting { key: key.into(), value, unit: unit.map(Into::into) }, allowed }
}
fn number(key: impl Into<String>, written: &str, unit: Option<&str>, low: f64, high: f64) -> Slot {
    slot(key, decimal(written), unit, Allowed::Number { low, high })
}
fn switch(key: impl Into<String>, on: bool) -> Slot {
    slot(key, SettingValue::Switch(on), None, Allowed::Switch)
}

/// What the outgoing model's relays can follow.
const OUTGOING_FUNCTIONS: &[&str] = &["nothing", "trouble", "level-1", "level-2", "level-3", "level-4"];
/// What the replacement's outputs can follow.
const REPLACEMENT_FUNCTIONS: &[&str] = &["none", "fault", "alarm-1", "alarm-2", "alarm-3"];

fn outgoing_schema(inlets: u8) -> Vec<Slot> {
    let mut s = vec![
        number("air.low", "15", Some("%"), 5.0, 50.0),
        number("air.high", "15", Some("%"), 5.0, 50.0),
        number("air.wait", "1", Some("min"), 0.1, 5.0),
        number("fan.step", "10", None, 1.0, 10.0),
        switch("levels.latch", true),
        slot("maker.block", SettingValue::Bytes(vec![0x41, 0x07, 0x00, 0x3C]), None, Allowed::Bytes),
        slot("name.place", text(""), None, Allowed::Text),
        number("time.zone", "0", Some("h"), -12.0, 14.0),
    ];
    for (n, at) in (1..).zip(["0.025", "0.050", "0.100", "0.600"]) {
        s.push(number(format!("level.{n}.at"), at, Some("%/ft"), 0.005, 6.0));
        s.push(number(format!("level.{n}.wait"), "10", Some("s"), 0.0, 60.0));
    }
    for n in 1..=OUTGOING.outputs {
        let follows = if n == 1 { "trouble" } else { "nothing" };
        s.push(slot(format!("relay.{n}.on"), text(follows), None, Allowed::OneOf(OUTGOING_FUNCTIONS)));
    }
    s.extend((1..=inlets).map(|n| switch(format!("pipe.{n}.fitted"), n == 1)));
    s
}
fn replacement_schema(inlets: u8) -> Vec<Slot> {
    let mut s = vec![
        number("clock.offset", "0", Some("min"), -720.0, 840.0),
        number("fan.speed", "100", Some("%"), 40.0, 100.0),
        number("flow.delay", "60", Some("s"), 10.0, 300.0),
        number("flow.high", "30", Some("%"), 5.0, 50.0),
        number("flow.low", "30", Some("%"), 5.0, 50.0),
        slot("label.site", text(""), None, Allowed::Text),
        slot("label.zone", text(""), None, Allowed::Text),
        switch("learning.on", false),
    ];
    for (n, at) in (1..).zip(["0.08", "0.14", "0.20"]) {
        s.push(number(format!("alarm.{n}.threshold"), at, Some("%/m"), 0.01, 20.0));
        s.push(number(format!("alarm.{n}.delay"), "10", Some("s"), 0.0, 60.0));
        s.push(switch(format!("alarm.{n}.latched"), true));
    }
    for n in 1..=REPLACEMENT.outputs {
        let follows = if n == 1 { "fault" } else { "none" };
        s.push(slot(format!("output.{n}.function"), text(follows), None, Allowed::OneOf(REPLACEMENT_FUNCTIONS)));
    }
    s.extend((1..=inlets).map(|n| switch(format!("inlet.{n}.used"), n == 1)));
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
