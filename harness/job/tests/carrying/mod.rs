//! Pipework, models and settings that tests carry over.
#![allow(unreachable_pub, reason = "a part of a test")]
use plumeline_airflow::SolveOptions;
use plumeline_base::pipework::Pipework;
use plumeline_carry::{
    Account, Carry, Decision, Description, carry,
    decision::{About, Choice},
    description::Kind,
};
use plumeline_detector::settings::{Item, Settings, Value};
use plumeline_job::{description, pipework};
use plumeline_simulator::{
    device::settings::{Setting, SettingValue},
    models::{Model, invented::site_settings},
    scenario::Which,
};
use std::sync::LazyLock;

pub const NAMES: [&str; 6] = ["model-a", "model-b", "model-c", "model-d", "model-e", "model-f"];

pub fn shipped(name: &str) -> Description {
    let (_, text) = description::SHIPPED.iter().find(|(n, _)| *n == name).unwrap();
    description::parse(&format!("{name}.toml"), text.as_bytes()).unwrap()
}

const UNIT: &str = r#"
inlet_volume = "50 mL"
inlet_loss = { flow = "60 L/min", linear = "2 Pa", quadratic = "10 Pa" }
loss = { flow = "60 L/min", linear = "6 Pa", quadratic = "9 Pa" }
volume = "0.3 L"
sensor_lag = "1.5 s"
exhaust_loss = { flow = "60 L/min", quadratic = "2 Pa" }
[unit.fan]
curve = [["0 L/min", "420 Pa"], ["50 L/min", "400 Pa"], ["100 L/min", "340 Pa"], ["160 L/min", "210 Pa"], ["220 L/min", "0 Pa"]]
"#;
const PIPE: &str = r#"
run = [{ pipe = "8 m", rise = "3 m" }, { holes = 6, diameter = "3 mm", every = "4 m" }, { pipe = "4 m" }, { cap = "4 mm" }]
"#;
fn read(inlets: u8, pipes: u8) -> Pipework {
    let mut text = format!("format = 1\n[unit]\ninlets = {inlets}\n{UNIT}");
    for n in 1..=pipes {
        text.push_str(&format!("[[pipe]]\ninlet = {n}{PIPE}"));
    }
    pipework::parse("p.toml", text.as_bytes()).unwrap().pipework
}
static ONE: LazyLock<Pipework> = LazyLock::new(|| read(1, 1));
static TWO: LazyLock<Pipework> = LazyLock::new(|| read(2, 2));
/// One inlet, one pipe, on the simulator's new unit.
pub fn one_pipe() -> Pipework {
    ONE.clone()
}
pub fn two_pipes() -> Pipework {
    TWO.clone()
}
/// Two inlets, a pipe on the first.
pub fn one_pipe_of_two() -> Pipework {
    read(2, 1)
}

/// The simulator's settings in neutral form.
pub fn as_settings(settings: &[Setting]) -> Settings {
    let items = settings.iter().map(|s| {
        let value = match &s.value {
            SettingValue::Switch(on) => Value::Bool(*on),
            SettingValue::Number(n) => Value::Number(n.to_f64()),
            SettingValue::Text(t) => Value::Text(t.clone()),
            SettingValue::Bytes(b) => Value::Opaque { hex: b.iter().map(|b| format!("{b:02x}")).collect() },
        };
        Item { key: s.key.clone(), value, unit: s.unit.clone() }
    });
    Settings::from_items(None, items.collect()).unwrap()
}

/// Settings of a site: the simulator's for model A, else the factory's with what has no default filled in and every output
/// in use that can be.
pub fn site(name: &str, inlets: u8) -> Settings {
    if name == "model-a" {
        return as_settings(&site_settings(&Model::of(Which::Outgoing), inlets, &[true]));
    }
    let d = shipped(name);
    let items = d.slots_with(inlets).map(|slot| {
        let mut unit = None;
        let value = match &slot.kind {
            Kind::Number { unit: u, low, .. } => {
                unit.clone_from(u);
                slot.default.clone().unwrap_or(Value::Number(*low))
            }
            _ => slot.default.clone().unwrap_or(Value::Text("2026-01".into())),
        };
        Item { key: slot.key.clone(), value, unit }
    });
    Settings::from_items(None, items.collect()).unwrap()
}

static OPTIONS: LazyLock<SolveOptions> = LazyLock::new(SolveOptions::default);

pub fn input<'a>(
    old: &'a Settings,
    from: &'a Description,
    to: &'a Description,
    decisions: &'a [Decision],
    pipework: &'a Pipework,
) -> Carry<'a> {
    Carry { old, complete: true, from, to, decisions, pipework, options: &OPTIONS, ports: &[] }
}

/// Decides everything that is open by its first choice, or by the least that the setting takes.
pub fn settle(old: &Settings, from: &Description, to: &Description, pipework: &Pipework) -> (Account, Vec<Decision>) {
    let mut decisions: Vec<Decision> = Vec::new();
    for _ in 0..5 {
        let account = carry(&input(old, from, to, &decisions, pipework)).unwrap();
        if account.open.is_empty() {
            return (account, decisions);
        }
        for open in &account.open {
            let choice = open.choices.first().cloned().unwrap_or_else(|| match &open.about {
                About::New(keys) => Choice::Value(match &to.slot(&keys[0]).unwrap().kind {
                    Kind::Number { low, .. } => Value::Number(*low),
                    Kind::Switch => Value::Bool(false),
                    Kind::Bytes { .. } => Value::Opaque { hex: String::new() },
                    Kind::Words(words) => Value::Text(words[0].0.clone()),
                    Kind::Text { .. } => Value::Text(String::new()),
                }),
                about => panic!("no choice for {about:?}"),
            });
            let (name, reason) = ("A. Person".into(), "a test".into());
            decisions.push(Decision { about: open.about.clone(), choice, name, reason });
        }
    }
    panic!("never settled: {decisions:#?}");
}
