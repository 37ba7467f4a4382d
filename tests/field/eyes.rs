//! Somebody at a real terminal who brings a unit that speaks nothing of ours into service: every number is read off its display,
//! rounded as the display rounds it, and typed.
//!
//! The reader here owes nothing to the simulated person of unattended jobs: it has a table of its own of what is lit. Not here:
//! what hands do at the site ([`super::person`]).
use super::person::{Person, SPEED, Site, journal};
use crate::{
    common::{Folder, exits, run, stdout, text},
    simulator::Simulator,
};
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// What the unit calls 100 % of an inlet before it has a baseline, L/min.
const NORMAL_L_MIN: f64 = 45.0;
/// How long a moment is watched for.
const WATCHES: Duration = Duration::from_secs(60);

/// What is typed where something at the unit is read or done; `None`: nothing there is asked for.
pub(crate) fn reads(site: &mut Site, act: &Value) -> Option<String> {
    let typed = match act["act"].as_str()? {
        "read-display" => at_display(site, &act["about"]),
        "read-meter" => match act["quantity"].as_str()? {
            "voltage" => format!("{:.2} V", label(site)["supply_v"].as_f64()?),
            _ => format!("{:.0} mA", label(site)["supply_a"].as_f64()? * 1000.0),
        },
        // From the reading that is asked for on; without one, from the first level on.
        "smoke-shows" => watches(site, |site| match act["from_n_m"].as_f64() {
            Some(from) => smoke(site) >= -(-from * 1e-9).exp_m1() * 100.0 - 0.0005,
            None => display(site)["levels"].as_array().is_some_and(|levels| !levels.is_empty()),
        }),
        "level-shows" => watches(site, |site| lists(&display(site)["levels"], &act["level"])),
        "fault-shows" => watches(site, |site| lists(&display(site)["flow_low"], &act["inlet"])),
        "fault-gone" => watches(site, |site| !lists(&display(site)["flow_low"], &act["inlet"])),
        _ => return None,
    };
    Some(typed)
}

fn at_display(site: &mut Site, about: &Value) -> String {
    let seen = label(site);
    let words = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    match about["what"].as_str().unwrap() {
        "label" if about["label"] == format!("{} {}", words(&seen["maker"]), words(&seen["model"])) => "yes".into(),
        "which" if lists(&about["serials"], &seen["serial"]) => "yes".into(),
        named @ ("serial" | "firmware" | "inlets") => words(&seen[named]),
        "enter" => {
            let items = about["items"].as_array().unwrap();
            items.iter().for_each(|item| keys_in(site, &seen["unit"], &words(&item[0]), &words(&item[1])));
            String::new()
        }
        "settings" => {
            let shown = |key: &Value| match &seen["settings"][words(key)] {
                Value::Null => "-".into(),
                Value::Bool(on) => if *on { "yes" } else { "no" }.into(),
                Value::String(text) if text.is_empty() => "-".into(),
                number_or_text => words(number_or_text),
            };
            about["keys"].as_array().unwrap().iter().map(shown).collect::<Vec<_>>().join(" ")
        }
        "flows" => {
            let (held, shown) = (seen["baseline_l_min"].clone(), display(site)["flow_l_min"].clone());
            let percent = |n: &Value| {
                let i = n.as_u64().unwrap() as usize - 1;
                format!("{:.0}", shown[i].as_f64().unwrap() / held[i].as_f64().unwrap_or(NORMAL_L_MIN) * 100.0)
            };
            about["inlets"].as_array().unwrap().iter().map(percent).collect::<Vec<_>>().join(" ")
        }
        "baseline" => {
            let held = |n: &Value| seen["baseline_l_min"][n.as_u64().unwrap() as usize - 1].as_f64();
            let shown = |n: &Value| held(n).map_or_else(|| "-".into(), |q| format!("{q:.0}"));
            about["inlets"].as_array().unwrap().iter().map(shown).collect::<Vec<_>>().join(" ")
        }
        "smoke" => format!("{:.3} %/m", smoke(site)),
        "lamps" => lit(&display(site), &seen),
        "offset" => "+00:00".into(),
        deed => {
            let on = about["on"] == true;
            let name = match deed {
                "inhibit" => ["give-back", "hold-back"][usize::from(on)],
                "drive" => ["rest", "operate"][usize::from(on)],
                "take-baseline" => "baseline",
                other => other,
            };
            let output = about["output"].as_u64().unwrap_or_default();
            site.must(&json!({ "do": "hand", "deed": name, "output": output }).to_string());
            watches(site, |site| label(site)["taking"] == false && display(site)["busy"] == false)
        }
    }
}
/// The names of what is lit, as they are written at this model.
fn lit(display: &Value, label: &Value) -> String {
    let fault = |name: &str| lists(&display["faults"], &json!(name));
    let mut lit = Vec::new();
    let mut lamp = |name: String, on: bool| lit.extend(on.then_some(name));
    lamp("FAULT".into(), display["faults"].as_array().is_some_and(|all| !all.is_empty()));
    lamp("SUPPLY".into(), fault("supply") || fault("mains"));
    lamp("BATTERY".into(), fault("battery"));
    lamp("NO AIR SET".into(), fault("no baseline"));
    lamp("DISABLED".into(), label["inhibited"] == true);
    for n in 1..=4 {
        let n_th = json!(n);
        lamp(format!("AIR {n}"), ["flow_low", "flow_high"].iter().any(|list| lists(&display[list], &n_th)));
        lamp(format!("AL{n}"), ["levels", "latched"].iter().any(|list| lists(&display[list], &n_th)));
        lamp(format!("K{n}"), lists(&display["outputs"], &n_th));
    }
    if lit.is_empty() { "none".into() } else { lit.join(", ") }
}
fn keys_in(site: &mut Site, unit: &Value, key: &str, value: &str) {
    let number = value.split_whitespace().next().and_then(|n| n.parse::<f64>().ok());
    let number = number.filter(|_| value.split_whitespace().count() <= 2);
    let keyed = match (value, number) {
        ("yes" | "no", _) => json!(value == "yes"),
        ("(empty)", _) => json!(""),
        (_, Some(n)) if n.fract() == 0.0 => json!(n as i64),
        (_, Some(n)) => json!(n),
        _ => json!(value),
    };
    site.must(&json!({ "do": "keypad", "unit": unit, "key": key, "value": keyed }).to_string());
}
fn label(site: &mut Site) -> Value {
    site.does(r#"{"do":"label"}"#)["label"].clone()
}
/// Dark while it starts.
fn display(site: &mut Site) -> Value {
    site.does(r#"{"do":"display"}"#)["display"].clone()
}
/// As shown, in steps of 0.001 %/m.
fn smoke(site: &mut Site) -> f64 {
    let shown = display(site)["smoke_percent_per_m"].clone();
    let most = shown.as_array().into_iter().flatten().filter_map(Value::as_f64).fold(0.0, f64::max);
    (most * 1000.0).round() / 1000.0
}
fn lists(list: &Value, what: &Value) -> bool {
    list.as_array().is_some_and(|all| all.contains(what))
}
/// Enter at the moment when this holds, or what can't be said.
fn watches(site: &mut Site, holds: impl Fn(&mut Site) -> bool) -> String {
    let since = Instant::now();
    while !holds(site) {
        if since.elapsed() > WATCHES {
            return "can't, it does not show".into();
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    String::new()
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_unit_that_speaks_nothing_is_brought_into_service_at_a_terminal_by_typed_readings_alone() {
    let dir = Folder::new("by-eye-at-a-terminal");
    let demo = dir.join("demo");
    exits(&run(&["demo", "--small", "--unit", "display", "--quiet", "--out", text(&demo)]), &[0]);
    exits(&run(&["new", text(&dir.join("job")), "--from", text(&demo)]), &[0]);
    let both = ["--tcp", "127.0.0.1:0", "--old-tcp", "127.0.0.1:0"];
    let simulator = Simulator::start_at(SPEED, &dir, "replacement = \"model-f\"\n", &both);
    let mut person = Person::reading(&dir, &simulator);
    person.patience = 3;
    person.until("the end of the job", |_| false);
    let (code, shown) = person.terminal.ended();
    assert_eq!(code, Some(0), "{shown}");
    let job = dir.join("job");
    let result: Value = serde_json::from_slice(&std::fs::read(job.join("result.json")).unwrap()).unwrap();
    assert_eq!(result["outcome"]["verdict"], "pass");
    assert_eq!(result["shown_by"]["measured"], 0, "nothing came over a line");
    let typed = journal(&dir).iter().filter(|e| e["entry"] == "asked" && e["act"]["act"] == "read-display").count();
    assert!(typed > 100, "{typed}");
    let key = dir.join("technician.key");
    exits(&run(&["key", "new", "--name", "A. Name", "--out", text(&key)]), &[0]);
    exits(&run(&["close", text(&job), "--key", text(&key)]), &[0]);
    let said = stdout(&run(&["check", text(&job)]));
    assert!(said.contains("pass"), "{said}");
}
