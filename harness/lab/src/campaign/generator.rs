//! Random pipework of a sane design, as a person would write it: its transport times and suctions hold by prediction.
//!
//! Not here: what was built (scatter, defects; see [`super::draw`]).
use super::dice::Dice;
use plumeline_airflow::{SolveOptions, solve, transport};
use plumeline_base::{pipework::Pipework, quantity::M3_S_PER_L_MIN};
use plumeline_job::{folder, pipework};
use plumeline_runtime::{failure::Failure, job_files::Files};
use std::fmt::Write as _;

/// What a design keeps: slower than this (mean, s) or less suction than this (Pa), and it is drawn anew.
const SLOWEST_S: f64 = 90.0;
const LEAST_PA: f64 = 30.0;
/// Flow of each pipe, L/min.
const FLOWS: std::ops::RangeInclusive<f64> = 15.0..=90.0;
/// Draws after which the generator gives up: seen to need 1 to 8.
const ATTEMPTS: u32 = 500;
/// The word of the plan for the holes that are closed in turn, and for none.
const HOLES: [&str; 2] = ["which = \"reachable\"", "which = \"none\""];

/// The files of a job, and its pipework as read from them.
pub(super) struct Design {
    /// Pipework, plan, settings.
    pub files: Files,
    /// The pipework as designed.
    pub pipework: Pipework,
}

const UNIT: &str = r#"format = 1
name = "Invented site"
[defaults]
bore = "21 mm"
basis = "surveyed"
[unit]
inlets = 4
inlet_volume = "50 mL"
inlet_loss = { flow = "40 L/min", linear = "1.333 Pa", quadratic = "4.444 Pa" }
loss = { flow = "100 L/min", linear = "10 Pa", quadratic = "25 Pa" }
volume = "0.3 L"
sensor_lag = "1.5 s"
exhaust_loss = { flow = "100 L/min", quadratic = "5.556 Pa" }
[unit.fan]
curve = [["0 L/min", "420 Pa"], ["50 L/min", "400 Pa"], ["100 L/min", "340 Pa"], ["160 L/min", "210 Pa"], ["220 L/min", "0 Pa"]]
density = "1.2 kg/m3"
uncertainty = "2 %"
[tolerance.surveyed]
diameter = { common = "1 %", individual = "1.5 %" }
discharge = { common = "3 %", individual = "2 %" }
bore = { common = "0.5 %", individual = "0.3 %" }
"#;

/// Draws a design; `holes` says whether holes are closed in turn.
pub(super) fn design(dice: &mut Dice, holes: bool) -> Result<Design, Failure> {
    for _ in 0..ATTEMPTS {
        let pipes = 1 + dice.below(4);
        let text = [UNIT, &air_text(dice), &pipes_text(dice, pipes)].concat();
        let read = pipework::parse(folder::PIPEWORK, text.as_bytes())?.pipework;
        if !is_sane(&read) {
            continue;
        }
        let plan = plan_text(holes)?;
        let files = Files(vec![
            (folder::PIPEWORK.into(), text.into_bytes()),
            (folder::PLAN.into(), plan.into_bytes()),
            (folder::SETTINGS_NEW.into(), settings_text(pipes)?.into_bytes()),
        ])
        .with_shipped("model-a", "model-b")?;
        return Ok(Design { files, pipework: read });
    }
    Err(Failure::internal("no sane design was drawn"))
}

/// Air and pipes of a design, as in a pipework file.
pub(super) fn parts(dice: &mut Dice) -> (String, String) {
    let pipes = 1 + dice.below(4);
    (air_text(dice), pipes_text(dice, pipes))
}

fn air_text(dice: &mut Dice) -> String {
    let (temperature, altitude) = (dice.between(15.0, 27.0), dice.between(0.0, 900.0));
    format!("[air]\ntemperature = \"{temperature:.1} degC\"\naltitude = \"{altitude:.0} m\"\n")
}

fn pipes_text(dice: &mut Dice, pipes: usize) -> String {
    let mut t = String::new();
    for inlet in 1..=pipes {
        let holes = 3 + dice.below(10);
        let (lead, every) = (dice.between(2.0, 15.0), dice.between(2.0, 6.0));
        let diameter = 0.1 * (dice.between(22.0, 40.0)).round();
        let cap = 0.1 * (diameter * dice.between(10.0, 15.0)).round();
        let drop =
            if dice.below(3) == 0 { ", drop = { length = \"1 m\", bore = \"10 mm\", rise = \"-1 m\" }" } else { "" };
        let _ = writeln!(
            t,
            "[[pipe]]\ninlet = {inlet}\nrun = [\n  {{ pipe = \"{lead:.1} m\", rise = \"{:.1} m\" }},\n  {{ fitting = \"bend 90\", count = {} }},\n  {{ holes = {holes}, diameter = \"{diameter:.1} mm\", every = \"{every:.1} m\"{drop} }},\n  {{ pipe = \"{every:.1} m\" }},\n  {{ cap = \"{cap:.1} mm\" }},\n]",
            dice.between(0.0, lead.min(4.0)),
            1 + dice.below(4),
        );
    }
    t
}

/// The small demonstration's plan, with or without the check of single holes.
fn plan_text(holes: bool) -> Result<String, Failure> {
    let plan = include_str!("../../../cli/demo/small/plan.toml");
    match plan.matches(HOLES[0]).count() {
        1 if holes => Ok(plan.into()),
        1 => Ok(plan.replace(HOLES[0], HOLES[1])),
        _ => Err(Failure::internal("the demonstration's plan does not say once which holes are closed")),
    }
}

/// The demonstration's settings with as many inlets in use as there are pipes.
fn settings_text(pipes: usize) -> Result<String, Failure> {
    let told = |e: serde_json::Error| Failure::internal(e.to_string());
    let mut settings: serde_json::Value =
        serde_json::from_str(include_str!("../../../cli/demo/settings-new.json")).map_err(told)?;
    for item in settings["items"].as_array_mut().into_iter().flatten() {
        for inlet in 1..=4 {
            if item["key"] == format!("inlet.{inlet}.used") {
                item["value"] = (inlet <= pipes).into();
            }
        }
    }
    serde_json::to_string_pretty(&settings).map_err(told)
}

pub(super) fn is_sane(p: &Pipework) -> bool {
    let Ok(solution) = solve(p, &SolveOptions::default()) else { return false };
    let mut flows = p.inlets.iter().zip(&solution.inlet_flow_m3_s).filter(|(i, _)| i.node.is_some());
    flows.all(|(_, q)| FLOWS.contains(&(q / M3_S_PER_L_MIN)))
        && solution.opening_suction_pa.iter().all(|s| *s > LEAST_PA)
        && transport::mean_times(p, &solution).iter().all(|t| *t < SLOWEST_S)
}
