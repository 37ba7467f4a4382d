//! What the prediction is held against, and alarm levels, as they are written on the command line.
use plumeline_base::obscuration::{Extinction, ObscurationUnit};
use plumeline_job::units::{self, Dimension};
use plumeline_procedure::{
    plan::{Limit, Mark},
    rules::{self, Rule},
};
use plumeline_runtime::failure::Failure;

/// Limits of a design.
#[derive(Clone, Debug)]
pub struct Limits {
    /// Longest mean transport time, s.
    pub transport: Limit,
    /// Least suction at an opening, Pa.
    pub suction: Limit,
    /// Least flow of a pipe's weakest hole as a fraction of its strongest.
    pub balance: Limit,
}

impl Limits {
    /// The limits, with the transport time that the user asks for: a time, or the name of a preset.
    pub fn new(transport: Option<&str>) -> Result<Self, Failure> {
        let of = |section, key| rules::find(section, key).and_then(|r| Some((r, r.default()?)));
        let missing = || Failure::input("a limit is not declared".to_owned(), "report this: it is a fault of the tool");
        let (rule, usual) = of("limits", "transport").ok_or_else(missing)?;
        Ok(Self {
            transport: transport.map_or(Ok(usual), |text| transport_limit(rule, text))?,
            suction: of("limits", "last_hole_suction").ok_or_else(missing)?.1,
            balance: of("advanced.model", "weakest_hole").ok_or_else(missing)?.1,
        })
    }
}

fn transport_limit(rule: &Rule, text: &str) -> Result<Limit, Failure> {
    if let Some(preset) = rule.preset(text) {
        return Ok(preset);
    }
    let presets: Vec<String> = rule.presets.iter().map(|p| format!("\"{}\"", p.name)).collect();
    let remedy = format!("write a time such as \"90 s\", or the name of a preset: {}", presets.join(", "));
    let wrong = |cause: String| Failure::input(format!("--limit: {cause}"), remedy.clone());
    let value = units::parse(Dimension::Time, text).map_err(|e| wrong(e.cause))?;
    if !rule.range.contains(value) {
        return Err(wrong(format!("`{text}` is not {}", rule.allowed())));
    }
    Ok(rule.own(value, "--limit"))
}

/// A limit in words: where it comes from and how well that is known.
pub fn origin(l: &Limit) -> String {
    if l.mark == Mark::ThisJob { format!("set by {}", l.source) } else { format!("{}; {}", l.source, l.mark.words()) }
}

/// A level of the unit's, as an obscuration in its chamber.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// What it is called; empty if it has no name.
    pub name: String,
    /// The obscuration as it was written.
    pub value: f64,
    /// Its unit, in which the obscurations at the holes are stated too.
    pub unit: ObscurationUnit,
    /// The same as extinction, which is what mixes.
    pub at_unit: Extinction,
}

impl Level {
    /// `0.04 %/m`, or with a name, `alarm=0.04 %/m`.
    pub fn parse(text: &str) -> Result<Self, Failure> {
        let wrong = |cause: &str| {
            Failure::input(
                format!("--obscuration: `{text}` {cause}"),
                "write a value with its unit, such as \"0.04 %/m\", or with a name, \"alarm=0.04 %/m\"; \
                 units: %/m, %/ft, dB/m",
            )
        };
        let (name, written) = text.rsplit_once('=').unwrap_or(("", text));
        let written = written.trim();
        let split = written.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(written.len());
        let (number, unit) = written.split_at(split);
        let value: f64 = number.parse().map_err(|_| wrong("does not start with a number"))?;
        let unit = match unit.trim() {
            "" => return Err(wrong("has no unit")),
            unit => ObscurationUnit::parse(unit).ok_or_else(|| wrong("has a unit that is none of obscuration"))?,
        };
        let at_unit = Extinction::from_stated(value, unit)
            .filter(|e| e.0 > 0.0)
            .ok_or_else(|| wrong("is not over 0 and under 100 %"))?;
        Ok(Self { name: name.trim().to_owned(), value, unit, at_unit })
    }
    /// As a heading.
    pub fn title(&self) -> String {
        let name = if self.name.is_empty() { "level" } else { &self.name };
        format!("{name} {} {}", self.value, self.unit)
    }
}
