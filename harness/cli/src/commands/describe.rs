//! `plumeline describe`: what a job can prove with a unit of a model, and by which means; and what a live unit tells by its
//! description, value by value, so that a wrong unit, scale or order is seen before anybody relies on it.
//!
//! Not here: how a description is read (the job crate), and any verdict.
use crate::{args::Describe, capture, carrying::Described};
use plumeline_base::{
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};
use plumeline_carry::Description;
use plumeline_detector::{
    Driver, Faults, Reading, Reply, Request,
    ask::Look,
    driver::{End, Means},
    lines::Lines,
    mixed::Offers,
    plumewire::Plumewire,
    registers::Registers,
    settings::Settings,
    vocabulary::{FlowBasis, WHOLE_M3_S},
};
use plumeline_link::LinkSpec;
use plumeline_procedure::plan::Untold;
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    port,
    show::print_progress,
};
use std::time::Duration;

/// What a job asks of a unit, and what stays open where nothing shows it.
fn asked() -> [(&'static str, Request, &'static str); 13] {
    let lease = Duration::ZERO;
    let settings = Settings::default();
    [
        (
            "flow of each pipe",
            Request::ReadOnce { look: Look::Flows },
            "no flow is proven, unless the plan names a meter at the exhaust",
        ),
        (
            "smoke, as a number",
            Request::ReadOnce { look: Look::Smoke },
            "smoke is timed by its first alarm level alone",
        ),
        (
            "faults, levels, outputs",
            Request::ReadOnce { look: Look::State },
            "supervision, supplies and outputs stay undecided",
        ),
        ("settings, read", Request::ReadSettings, "the load stays undecided"),
        ("settings, written", Request::WriteSettings { settings }, "the load stays undecided"),
        ("baseline", Request::TakeBaseline, "no baseline is taken"),
        ("reset", Request::ResetLatches, "what is latched stays"),
        ("restart", Request::Restart, "not shown that settings outlive a restart"),
        ("outputs one by one", Request::Drive { output: 1, on: true }, "the wires stay undecided"),
        ("inhibit of outputs", Request::Inhibit { lease }, "undecided, unless `not_shown` names \"inhibit\""),
        ("date and time", Request::TellTime, "undecided, unless `not_shown` names \"date and time\""),
        ("device time", Request::Clock, "undecided, unless `not_shown` names \"device time\""),
        ("event log", Request::ReadEvents { from: 0 }, "undecided, unless `not_shown` names \"event log\""),
    ]
}

/// `plumeline describe`
pub fn describe(args: &Describe) -> Result<Exit, Failure> {
    let model = Described::find(&args.description)?.description;
    print_progress(&offered(&model));
    let Some(port) = &args.port else { return Ok(Exit::Pass) };
    let LinkSpec::Line(line) = port::parse(port)? else {
        let remedy =
            "give a serial port or tcp:HOST:PORT; what a person reads is tried with `plumeline demo --unit display`";
        return Err(Failure::input(format!("`{port}` is no line to a unit"), remedy));
    };
    let (driver, requests): (Box<dyn Driver>, Vec<Request>) = match (&model.registers, &model.lines) {
        (Some(map), _) => (Box::new(Registers::new(map.clone())), wanted(&model.offers())),
        (None, Some(map)) => (Box::new(Lines::new(map.clone())), wanted(&model.offers())),
        (None, None) => (Box::new(Plumewire::new()), all()),
    };
    let told = clock::event_loop()?.block_on(capture::ask(line, driver, &requests))?;
    let mut good = true;
    for (request, end) in told {
        good &= end.is_ok();
        print_progress(&said(&model, &request, end));
    }
    if !good {
        return Ok(Exit::Undecided);
    }
    print_progress(
        "\nHold each value against the unit's own display, or against a manual: only that shows that it means what the description says.",
    );
    Ok(Exit::Pass)
}

/// What is asked of a live unit.
fn all() -> Vec<Request> {
    let state = Request::ReadOnce { look: Look::State };
    vec![Request::Identify, state, Request::ReadSettings, Request::ReadBaseline, Request::TellTime]
}
fn wanted(offers: &Offers) -> Vec<Request> {
    let can = |request: &Request| {
        let read_once = matches!(request, Request::Identify | Request::ReadOnce { .. });
        read_once || offers.line.as_ref().is_some_and(|line| line.can.can(request))
    };
    all().into_iter().filter(can).collect()
}

/// By which means each thing is shown.
fn offered(model: &Description) -> String {
    let offers = model.offers();
    let line = match (&model.registers, &model.lines) {
        (Some(_), _) => "by registers",
        (None, Some(_)) => "by the lines that it prints",
        (None, None) if model.is_by_hand() => "by its display alone",
        (None, None) => "by plumewire: what it can do it says itself, at `--port`",
    };
    let mut text = format!(
        "{} {}, {line}{}\n",
        model.maker,
        model.model,
        match (&offers.line, &offers.person) {
            (Some(_), Some(_)) => ", and a person for the rest",
            _ => "",
        }
    );
    if offers.line.is_none() && !model.is_by_hand() {
        return text;
    }
    for (what, request, without) in asked() {
        let by = match offers.means(&request) {
            Some(Means::Protocol) => "over the line".to_owned(),
            Some(Means::Person) => "a person reads it".to_owned(),
            Some(Means::Attested) => "a person does it, and says so".to_owned(),
            // A job by display alone asks for none of what the plan may go without.
            None if model.is_by_hand() && without.contains("`not_shown`") => "not shown, and not asked for".to_owned(),
            None => format!("NOT SHOWN: {without}"),
        };
        text += &format!("  {what:24} {by}\n");
    }
    let Some(can) = offers.all() else { return text };
    if can.flow_basis == FlowBasis::Share {
        text += "  The flow is a share of the unit's own normal flow: single holes are proven by ratios, the level of all by smoke's time.\n";
    }
    let missing: Vec<String> =
        Untold::NAMES.iter().filter(|(_, what)| !what.is_shown(&can)).map(|(name, _)| format!("{name:?}")).collect();
    if offers.line.is_some() && !missing.is_empty() {
        text += &format!("  For plan.toml, if the job is to go without it: not_shown = [{}]\n", missing.join(", "));
    }
    text
}

/// What a live unit said.
fn said(model: &Description, request: &Request, end: End) -> String {
    let basis = model.offers().line.map_or(FlowBasis::Actual, |line| line.can.flow_basis);
    match end {
        Err(trouble) => format!("{}: {trouble}\n  next: {}", request.words(), trouble.remedy()),
        Ok(Reply::Identity((unit, can))) => {
            let named = |text: &str| if text.is_empty() { "not told".to_owned() } else { text.to_owned() };
            let other = if unit.maker == model.maker && unit.model == model.model {
                ""
            } else {
                "  <- not the model described"
            };
            format!(
                "unit: {} {}, serial {}, firmware {}, {} inlets{other}",
                unit.maker,
                unit.model,
                named(&unit.serial),
                named(&unit.firmware),
                can.inlets
            )
        }
        Ok(Reply::Reading(reading)) => values(&reading, basis),
        Ok(Reply::Settings(settings)) => {
            let one = |i: &plumeline_detector::settings::Item| {
                let means = model.slot(&i.key).map(|slot| slot.meaning.words()).unwrap_or_default();
                format!("  {:24} {} {}  {means}", i.key, i.value, i.unit.as_deref().unwrap_or_default())
            };
            let all: Vec<String> = settings.items.iter().map(one).collect();
            format!("settings:\n{}", all.join("\n"))
        }
        Ok(Reply::Baseline(held)) => {
            let flows: Vec<String> = held.flow_m3_s.iter().map(|q| flow(*q, basis)).collect();
            format!("baseline held: {}", flows.join(", "))
        }
        Ok(Reply::Time(time)) => format!(
            "date and time: {} s since 1970 UTC, {} min ahead of it",
            time.utc_ms.map_or_else(|| "never set,".into(), |ms| (ms / 1000).to_string()),
            time.zone_min
        ),
        Ok(_) => format!("{}: done", request.words()),
    }
}

fn flow(m3_s: Option<f64>, basis: FlowBasis) -> String {
    match (m3_s, basis) {
        (None, _) => "not told".into(),
        (Some(q), FlowBasis::Share) => format!("{:.1} % of normal", q / WHOLE_M3_S * 100.0),
        (Some(q), _) => format!("{:.2} L/min", q / M3_S_PER_L_MIN),
    }
}

/// A reading, value by value.
fn values(r: &Reading, basis: FlowBasis) -> String {
    let percent = |k: f64| Extinction(k).stated(ObscurationUnit::PercentPerMetre);
    let bits = |all: Option<u32>| match all {
        None => "not told".to_owned(),
        Some(0) => "none".into(),
        Some(all) => {
            (1..=32).filter(|n| all >> (n - 1) & 1 == 1).map(|n: u32| n.to_string()).collect::<Vec<_>>().join(", ")
        }
    };
    let plain = |x: Option<f64>, unit: &str| x.map_or_else(|| "not told".into(), |x| format!("{x:.3} {unit}"));
    let mut rows: Vec<(String, String)> =
        (1..).zip(&r.flow_m3_s).map(|(n, q)| (format!("flow {n}"), flow(*q, basis))).collect();
    rows.extend((1..).zip(&r.extinction_per_m).map(|(n, k)| {
        (format!("smoke {n}"), k.map_or_else(|| "not told".into(), |k| format!("{:.4} %/m", percent(k))))
    }));
    rows.extend([
        ("fan".into(), plain(r.fan_rpm, "rpm")),
        ("air temperature".into(), plain(r.temperature_c, "degC")),
        ("supply".into(), format!("{}, {}", plain(r.supply_v, "V"), plain(r.supply_a, "A"))),
        ("faults".into(), faults(r.faults)),
        ("faults, latched".into(), faults(r.faults_latched)),
        ("levels".into(), bits(r.levels)),
        ("levels, latched".into(), bits(r.latched)),
        ("outputs".into(), bits(r.outputs)),
        ("inputs".into(), bits(r.inputs)),
        ("inlets under their band".into(), bits(r.flow_low)),
        ("inlets over their band".into(), bits(r.flow_high)),
        ("inhibited".into(), r.inhibited().map_or("not told", |on| if on { "yes" } else { "no" }).into()),
    ]);
    let rows: Vec<String> = rows.into_iter().map(|(name, value)| format!("  {name:24} {value}")).collect();
    format!("reading:\n{}", rows.join("\n"))
}

fn faults(faults: Option<Faults>) -> String {
    const NAMES: [(Faults, &str); 11] = [
        (Faults::FLOW, "flow"),
        (Faults::FAN, "fan"),
        (Faults::SENSOR, "sensor"),
        (Faults::SUPPLY, "supply"),
        (Faults::BATTERY, "battery"),
        (Faults::SETTINGS, "settings"),
        (Faults::INHIBIT_LAPSED, "inhibit lapsed"),
        (Faults::NO_BASELINE, "no baseline"),
        (Faults::COVER, "cover"),
        (Faults::FILTER, "filter"),
        (Faults::OTHER, "other"),
    ];
    let Some(faults) = faults else { return "not told".into() };
    let names: Vec<&str> = NAMES.iter().filter(|(f, _)| faults.has(*f)).map(|(_, name)| *name).collect();
    if names.is_empty() { "none".into() } else { names.join(", ") }
}
