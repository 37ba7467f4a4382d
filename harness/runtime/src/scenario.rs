//! `scenario.toml`: the simulated site, as a person writes it, turned into what the simulator starts from.
//!
//! Not here: the pipework's own format (the job crate) and what a defect does (the simulator).
use crate::{failure::Failure, simulated_model};
use plumeline_base::{Instant, pipework::Pipework};
use plumeline_detector::settings::Settings;
use plumeline_job::{
    TEXT_LIMIT,
    error::Source,
    input_file, pipework,
    written::{self, Spanned},
};
use plumeline_simulator::{
    Defect, Lie, Scenario, Simulation,
    scenario::{Law, Scatter, Which},
};
use serde::Deserialize;
use std::path::Path;

/// What `scenario.toml` says.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema), schemars(title = "scenario.toml: a simulated site"))]
#[serde(deny_unknown_fields)]
struct File {
    /// Format version: 1.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    format: Spanned<i64>,
    /// The pipework as designed, relative to the scenario's folder.
    pipework: String,
    /// Seed of everything that is drawn: as-built scatter, noise.
    #[serde(default = "one")]
    seed: u64,
    /// What is wrong, such as `hole-blocked:pipe=1,hole=3`; see docs/simulator.md.
    #[serde(default)]
    defects: Vec<String>,
    /// How the replacement lies, such as `alarms-dead` or `alarm-late:30`; see docs/simulator.md.
    #[serde(default)]
    lies: Vec<String>,
    /// The replacement: model-b, model-c, model-d, model-e, or the path of a description; model-b if not stated.
    replacement: Option<String>,
    /// Output of the replacement that the panel's fault input is wired to.
    #[serde(default = "first")]
    fault_wire: u8,
    /// The outgoing unit: alive or dead.
    #[serde(default)]
    outgoing: Outgoing,
    /// Which unit is on the wall at the start.
    #[serde(default)]
    #[cfg_attr(test, schemars(with = "String", transform = tests::units))]
    mounted: Which,
    /// Built exactly as designed: no scatter at all.
    #[serde(default)]
    as_designed: bool,
    /// The replacement has an obscuration sensor at each inlet.
    #[serde(default)]
    sensor_per_inlet: bool,
    /// The shape of the scatter.
    #[serde(default)]
    scatter: Shape,
}
fn one() -> u64 {
    1
}
fn first() -> u8 {
    1
}
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
enum Outgoing {
    #[default]
    Alive,
    Dead,
}
#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
enum Shape {
    #[default]
    Normal,
    Uniform,
    HeavyTails,
    Skewed,
}

/// A site with this pipework, these defects and this seed.
pub fn site(pipework: Pipework, seed: u64, defects: &[String], outgoing_alive: bool) -> Result<Scenario, Failure> {
    let mut scenario = Scenario::new(pipework, seed);
    scenario.outgoing_alive = outgoing_alive;
    scenario.defects = self::defects(defects)?;
    Ok(scenario)
}

/// A site that is visited: the replacement is on the wall, in service with these settings.
pub fn visited(scenario: &mut Scenario, settings: &Settings) {
    scenario.mounted = Which::Replacement;
    scenario.in_service = Some(simulated_model::settings(settings));
}

/// Defects as a user writes them.
pub fn defects(texts: &[String]) -> Result<Vec<Defect>, Failure> {
    let told = |e: plumeline_simulator::defect::DefectError| {
        Failure::input(e.to_string(), "see docs/simulator.md for every defect and its measure")
    };
    texts.iter().map(|text| Defect::parse(text).map_err(told)).collect()
}

/// Lies as a user writes them.
pub fn lies(texts: &[String]) -> Result<Vec<Lie>, Failure> {
    let told = |e: plumeline_simulator::lie::LieError| {
        Failure::input(e.to_string(), "see `plumeline lies` for every lie and its measure")
    };
    texts.iter().map(|text| Lie::parse(text).map_err(told)).collect()
}

/// Reads a scenario and the pipework that it names.
pub fn read(path: &Path) -> Result<Scenario, Failure> {
    let name = path.display().to_string();
    let bytes = input_file::read(path, "read the scenario", TEXT_LIMIT as u64)?;
    let source = Source::new(&name, &bytes, TEXT_LIMIT)?;
    let file: File = written::from_toml(&source)?;
    written::version(&source, &file.format, 1)?;
    let beside = path.parent().unwrap_or(Path::new(".")).join(&file.pipework);
    let pipework = pipework::read(&beside)?.pipework;
    let mut scenario = site(pipework, file.seed, &file.defects, file.outgoing == Outgoing::Alive)?;
    scenario.lies = lies(&file.lies)?;
    if let Some(name) = &file.replacement {
        scenario.replacement = simulated_model::find_beside(path, name)?.into();
    }
    scenario.fault_wire = file.fault_wire;
    scenario.mounted = file.mounted;
    scenario.sensor_per_inlet = file.sensor_per_inlet;
    if file.as_designed {
        scenario.scatter = Scatter::NONE;
    }
    scenario.scatter.law = match file.scatter {
        Shape::Normal => Law::Normal,
        Shape::Uniform => Law::Uniform,
        Shape::HeavyTails => Law::HeavyTails,
        Shape::Skewed => Law::Skewed,
    };
    Ok(scenario)
}

/// A simulation, or why it can't be made.
pub fn simulation(site: Scenario, at: Instant) -> Result<Simulation, Failure> {
    Simulation::new(site, at).map_err(|e| Failure::input(e.to_string(), "correct the scenario"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use schemars::Schema;

    /// The two units, by the names that the simulator gives them.
    pub(super) fn units(schema: &mut Schema) {
        let names = [Which::Outgoing, Which::Replacement].map(|w| serde_json::to_value(w).unwrap());
        schema.insert("enum".into(), names.to_vec().into());
    }

    #[test]
    fn docs_hold_the_current_schema() {
        plumeline_job::schema::holds("scenario.schema.json", plumeline_job::schema::of_toml::<File>());
    }

    #[test]
    fn every_lie_is_in_the_documents() {
        let page =
            std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/simulator.md")).unwrap();
        for kind in plumeline_simulator::LieKind::all() {
            let row = page.lines().find(|l| l.starts_with(&format!("| `{kind}` | {} |", kind.class().name())));
            assert!(row.is_some_and(|r| r.contains(kind.does()) && r.contains(kind.shows())), "{kind}");
        }
    }

    #[test]
    fn the_example_is_read() {
        let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/examples/scenario.toml");
        let scenario = read(&example).unwrap();
        assert_eq!((scenario.seed, scenario.defects.len()), (7, 1));
    }
}
