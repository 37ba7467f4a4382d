//! The files of the demonstration's invented jobs, and what becomes of them with another replacement.
//!
//! Not here: running the job.
use crate::carrying::Described;
use plumeline_job::description;
use plumeline_runtime::{failure::Failure, simulated_model};
use plumeline_simulator::models::{Model, Spoken};
use std::borrow::Cow;

/// The files of an invented job.
pub struct Invented {
    /// `pipework.toml`.
    pub pipework: &'static str,
    /// `plan.toml`.
    pub plan: &'static str,
    /// `decisions.toml`.
    pub decisions: &'static str,
    /// What the settings come to by these decisions: `settings-new.json`.
    pub settings: &'static str,
}
/// The site of the demonstration.
pub const WHOLE: Invented = Invented {
    pipework: include_str!("../../demo/pipework.toml"),
    plan: include_str!("../../demo/plan.toml"),
    decisions: include_str!("../../demo/decisions.toml"),
    settings: include_str!("../../demo/settings-new.json"),
};
/// A smaller site.
pub const SMALL: Invented = Invented {
    pipework: include_str!("../../demo/small/pipework.toml"),
    plan: include_str!("../../demo/small/plan.toml"),
    decisions: include_str!("../../demo/small/decisions.toml"),
    settings: include_str!("../../demo/small/settings-new.json"),
};
/// The replacement that those files are of.
pub const USUAL: &str = "model-b";
/// The replacement that speaks nothing: a person reads it and works its keys.
pub const BY_HAND: &str = "model-f";
/// The one that prints lines; a person does the rest.
pub const BY_LINES: &str = "model-h";
/// The one that is read by registers.
pub const BY_REGISTERS: &str = "model-g";

/// What another replacement needs: which wires go to it, and what was decided about its settings.
struct Prepared {
    name: &'static str,
    wires: &'static str,
    decisions: &'static str,
    /// The output that the panel's fault input is wired to.
    fault_wire: u8,
}
const PREPARED: [Prepared; 6] = [
    Prepared {
        name: "model-c",
        wires: include_str!("../../demo/replacements/model-c/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-c/decisions.toml"),
        fault_wire: 1,
    },
    Prepared {
        name: "model-d",
        wires: include_str!("../../demo/replacements/model-d/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-d/decisions.toml"),
        fault_wire: 1,
    },
    Prepared {
        name: "model-e",
        wires: include_str!("../../demo/replacements/model-e/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-e/decisions.toml"),
        fault_wire: 3,
    },
    Prepared {
        name: BY_HAND,
        wires: include_str!("../../demo/replacements/model-f/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-f/decisions.toml"),
        fault_wire: 1,
    },
    Prepared {
        name: BY_LINES,
        wires: include_str!("../../demo/replacements/model-h/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-h/decisions.toml"),
        fault_wire: 1,
    },
    Prepared {
        name: BY_REGISTERS,
        wires: include_str!("../../demo/replacements/model-g/wires.toml"),
        decisions: include_str!("../../demo/replacements/model-g/decisions.toml"),
        fault_wire: 1,
    },
];

/// An invented job with one replacement.
pub struct Job {
    /// `pipework.toml`.
    pub pipework: Cow<'static, str>,
    /// `plan.toml`.
    pub plan: Cow<'static, str>,
    /// `decisions.toml`.
    pub decisions: &'static str,
    /// The replacement that is simulated.
    pub model: Model,
    /// The output that the panel's fault input is wired to.
    pub fault_wire: u8,
}
impl Job {
    /// The job on a small or the whole site with the replacement of that name.
    ///
    /// # Errors
    /// No replacement of that name is prepared.
    pub fn find(small: bool, replacement: &str) -> Result<Self, Failure> {
        let base = if small { &SMALL } else { &WHOLE };
        let model = simulated_model::find(replacement)?;
        if replacement == USUAL {
            let (pipework, plan, decisions) = (base.pipework.into(), base.plan.into(), base.decisions);
            return Ok(Self { pipework, plan, decisions, model, fault_wire: 1 });
        }
        let Some(prepared) = PREPARED.iter().find(|p| p.name == replacement) else {
            let names: Vec<&str> = PREPARED.iter().map(|p| p.name).collect();
            return Err(Failure::input(
                format!("no decisions are prepared for `{replacement}`"),
                format!("choose {USUAL}, {}; any description can be played by `simulate`", names.join(", ")),
            ));
        };
        let unit = described_unit(replacement, inlets(base.pipework))?;
        let plan = base
            .plan
            .replace("\"Model B\"", &format!("{:?}", model.name))
            .replace("\"4.0.1\"", &format!("{:?}", model.firmware));
        // By registers or lines nobody sees when something was measured, nor what the unit did.
        let not_shown = match model.spoken {
            Spoken::Plumewire => "",
            Spoken::Registers(_) => "not_shown = [\"device time\", \"event log\"]\n",
            Spoken::Lines => "not_shown = [\"device time\", \"event log\", \"date and time\"]\n",
        };
        let plan = plan.replacen("\nreadings = ", &format!("\n{not_shown}readings = "), 1);
        Ok(Self {
            pipework: between(base.pipework, "[unit]", "[outgoing]", &unit)?.into(),
            plan: between(&plan, "[[outputs.wire]]", "[supply]", prepared.wires)?.into(),
            decisions: prepared.decisions,
            model,
            fault_wire: prepared.fault_wire,
        })
    }
}

/// The meter at the exhaust of a unit that shows no flow.
const METER: &str = r#"
[[instruments]]
name = "Flow meter 5"
kind = "flow meter"
serial = "F5-0087"
at = "exhaust"
unit = "L/min"
range = [0.0, 300.0]
resolution = 0.1
uncertainty = 0.2
relative_uncertainty = "1.5 %"
calibrated = "2024-03-01"
due = "2049-12-31"
"#;

/// A logger on the smoke signal of a unit.
const LOGGER: &str = r#"
[[instruments]]
name = "Logger 3"
kind = "logger"
serial = "L3-0144"
unit = "%/m"
range = [0.0, 20.0]
resolution = 0.0001
relative_uncertainty = "2 %"
interval = "1 s"
calibrated = "2024-03-01"
due = "2049-12-31"
"#;

impl Job {
    /// The same with a logger on the smoke signal of a unit that a person reads.
    #[must_use]
    pub fn by_logger(self) -> Self {
        Self { plan: format!("{}\n{LOGGER}", self.plan.trim_end()).into(), ..self }
    }
    /// The same with a replacement whose display shows no flow and a meter at its exhaust.
    #[must_use]
    pub fn by_meter(self) -> Self {
        let plan = self.plan.replacen("\nreadings = ", "\nnot_shown = [\"baseline\"]\nreadings = ", 1);
        Self { plan: format!("{}\n{METER}", plan.trim_end()).into(), ..self }
    }
}
/// A description whose display shows neither flows nor a baseline.
///
/// # Errors
/// It is no sound description without them.
pub fn without_flow(described: &Described) -> Result<Described, Failure> {
    let text = String::from_utf8_lossy(&described.bytes);
    let shows = |line: &&str| !["flow = {", "baseline = {"].iter().any(|start| line.starts_with(start));
    let left: Vec<&str> = text.lines().filter(shows).collect();
    Described::read("the replacement's description", left.join("\n").into_bytes())
}

/// `text` with everything from the line `from` up to the line `to` replaced.
pub(super) fn between(text: &str, from: &str, to: &str, with: &str) -> Result<String, Failure> {
    let found = text.split_once(&format!("\n{from}")).and_then(|(before, rest)| {
        let (_, after) = rest.split_once(&format!("\n{to}"))?;
        Some(format!("{before}\n{}\n\n{to}{after}", with.trim_end()))
    });
    found.ok_or_else(|| Failure::internal(format!("the demonstration's files lack {from} before {to}")))
}
/// What a pipework says of its unit's inlets.
fn inlets(pipework: &str) -> &str {
    pipework.lines().find(|l| l.starts_with("inlets = ")).unwrap_or_default()
}
/// A description's air path as the pipework's unit, at full speed.
fn described_unit(name: &str, inlets: &str) -> Result<String, Failure> {
    let text = description::SHIPPED.iter().find(|(n, _)| *n == name).map_or("", |(_, text)| *text);
    let Some((_, air)) = text.split_once("\n[air]") else {
        return Err(Failure::internal(format!("{name} is described without an air path")));
    };
    let lines = air.lines().skip(1).filter(|l| !l.starts_with("speeds"));
    let lines = lines.map(|l| if l == "[air.fan]" { "\n[unit.fan]" } else { l });
    Ok(["[unit]", inlets].into_iter().chain(lines).collect::<Vec<_>>().join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_job::pipework;
    #[test]
    fn every_prepared_job_has_the_air_path_of_its_model() {
        for p in &PREPARED {
            let job = Job::find(true, p.name).unwrap();
            let read = pipework::parse("pipework.toml", job.pipework.as_bytes()).unwrap().pipework;
            assert_eq!(read.unit.volume_m3, job.model.air_path.volume_m3, "{}", p.name);
            assert_eq!(read.unit.loss, job.model.air_path.loss, "{}", p.name);
            assert!(job.plan.contains(&job.model.name) && job.plan.contains(p.wires.trim()), "{}", p.name);
        }
        assert!(Job::find(true, "model-a").is_err());
    }
}
