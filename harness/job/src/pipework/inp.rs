//! A network in EPANET's open text format (`.inp`) turned into the text of a `pipework.toml`.
//!
//! What is carried over: pipes, junctions, emitters as holes, and reservoirs as inlets whose suction is measured, which is
//! the part of the format that means something for air at rest but for what the unit draws. Units follow `UNITS` as EPANET's manual has
//! them (2.2, appendix C). Whatever else would change the flows is refused with its line: nothing is left out silently.
//! Not here: a fan, the unit's losses, and how facts are known, which the format does not hold.
use super::{FORMAT, MAX_INLETS};
use crate::{
    TEXT_LIMIT,
    error::{Kind, Problem, Source, quoted},
    tables,
};
use plumeline_base::quantity::{M_PER_FT, M_PER_IN};
use std::{
    collections::{BTreeMap, BTreeSet},
    f64::consts::PI,
    fmt::Write as _,
    ops::Range,
};

/// Standard gravity, m/s2, and EPANET's own constants: water, kg/m3 (62.4 lb/ft3) and m2/s (1.1e-5 ft2/s), psi per foot of water.
const GRAVITY: f64 = 9.806_65;
const WATER_KG_M3: f64 = 999.552;
const WATER_M2_S: f64 = 1.1e-5 * M_PER_FT * M_PER_FT;
const PSI_PER_FT: f64 = 0.4333;

/// Sections that change no flow of a steady solve.
const IDLE: &[&str] = &[
    "TITLE",
    "COORDINATES",
    "VERTICES",
    "LABELS",
    "BACKDROP",
    "TAGS",
    "REPORT",
    "TIMES",
    "END",
    "PATTERNS",
    "CURVES",
    "ENERGY",
    "QUALITY",
    "SOURCES",
    "REACTIONS",
    "MIXING",
    "MAP",
];
/// Sections that are read, or refused as soon as they hold a line.
const ACTIVE: &[&str] = &[
    "JUNCTIONS",
    "RESERVOIRS",
    "PIPES",
    "EMITTERS",
    "OPTIONS",
    "TANKS",
    "PUMPS",
    "VALVES",
    "CONTROLS",
    "RULES",
    "DEMANDS",
    "STATUS",
    "LEAKAGE",
];

/// A line: its section, its words, where it stands.
struct Line<'a> {
    section: &'static str,
    words: Vec<&'a str>,
    span: Range<usize>,
}

/// A network as it stands in the file, in its own units.
struct Network<'a> {
    source: &'a Source<'a>,
    title: Option<&'a str>,
    lines: Vec<Line<'a>>,
    /// US customary units; metric if not.
    customary: bool,
    /// Flow unit, m3/s.
    flow_m3_s: f64,
    density: f64,
    kinematic: f64,
}

/// Turns a network into the text of a pipework file.
///
/// # Errors
/// The first line that can't be carried over, with its place and a remedy.
pub fn import_inp(name: &str, bytes: &[u8]) -> Result<String, Problem> {
    let (text, _) = crate::logger::decode(name, bytes)?;
    let source = Source::new(name, text.as_bytes(), TEXT_LIMIT)?;
    Network::read(&source)?.written()
}

impl<'a> Network<'a> {
    fn read(source: &'a Source<'a>) -> Result<Self, Problem> {
        let mut network = Self {
            source,
            title: None,
            lines: Vec::new(),
            customary: true,
            // EPANET's default, gallons a minute.
            flow_m3_s: 6.309_019_64e-5,
            density: WATER_KG_M3,
            kinematic: WATER_M2_S,
        };
        let (mut section, mut start) = ("", 0);
        for whole in source.text().split_inclusive('\n') {
            let line = whole.split(';').next().unwrap_or_default().trim();
            let span = start..start + whole.trim_end().len();
            start += whole.len();
            if let Some(title) = line.strip_prefix('[') {
                let wanted = title.trim_end_matches(']').to_uppercase();
                // A section goes by its first letters, as EPANET has it.
                let all = IDLE.iter().chain(ACTIVE);
                section = all
                    .copied()
                    .find(|s| wanted.len() >= 4 && s.starts_with(&wanted[..4]) || **s == wanted)
                    .ok_or_else(|| {
                        let remedy = "remove the section, or correct its name; docs/file-formats.md lists what is read";
                        source.problem(
                            Kind::UnknownKey,
                            span.clone(),
                            format!("there is no section {}", quoted(title)),
                            remedy,
                        )
                    })?;
            } else if section == "TITLE" && network.title.is_none() && !line.is_empty() {
                network.title = Some(line);
            } else if ACTIVE.contains(&section) && !line.is_empty() {
                network.lines.push(Line { section, words: line.split_whitespace().collect(), span });
            }
        }
        network.options()?;
        Ok(network)
    }

    fn of(&self, section: &'static str) -> impl Iterator<Item = &Line<'a>> {
        self.lines.iter().filter(move |line| line.section == section)
    }

    fn refused(&self, line: &Line<'_>, kind: Kind, cause: impl Into<String>, remedy: &str) -> Problem {
        self.source.problem(kind, line.span.clone(), cause, remedy)
    }

    fn number(&self, line: &Line<'_>, at: usize, what: &str) -> Result<f64, Problem> {
        let text = line.words.get(at).copied().unwrap_or_default();
        text.parse::<f64>().ok().filter(|x| x.is_finite()).ok_or_else(|| {
            let cause = if text.is_empty() {
                format!("{what} is missing")
            } else {
                format!("{} is no number for {what}", quoted(text))
            };
            self.refused(line, Kind::WrongType, cause, "write a plain number")
        })
    }

    fn options(&mut self) -> Result<(), Problem> {
        let (mut darcy, mut gravity, mut viscosity) = (false, 1.0, 1.0);
        for line in self.lines.iter().filter(|l| l.section == "OPTIONS") {
            let words: Vec<String> = line.words.iter().map(|w| w.to_uppercase()).collect();
            let value = words.get(1).map_or("", String::as_str);
            let wrong = |what: &str, remedy: &str| Err(self.refused(line, Kind::Conflict, what.to_owned(), remedy));
            match words.first().map_or("", String::as_str) {
                "UNITS" => match unit(value) {
                    Some((flow, customary)) => (self.flow_m3_s, self.customary) = (flow, customary),
                    None => {
                        return wrong(
                            "this unit of flow is not known",
                            "write one of CFS GPM MGD IMGD AFD LPS LPM MLD CMH CMD CMS",
                        );
                    }
                },
                "HEADLOSS" => darcy = value == "D-W",
                "SPECIFIC" => gravity = self.number(line, 2, "the specific gravity")?,
                "VISCOSITY" => viscosity = self.number(line, 1, "the viscosity")?,
                "EMITTER"
                    if words.get(1).is_some_and(|w| w == "EXPONENT")
                        && (self.number(line, 2, "the exponent")? - 0.5).abs() > 1e-9 =>
                {
                    return wrong("a hole's flow goes with the root of the pressure", "set EMITTER EXPONENT to 0.5");
                }
                "DEMAND" if words.get(1).is_some_and(|w| w == "MODEL") && words.get(2).is_some_and(|w| w != "DDA") => {
                    return wrong(
                        "demands that hang on the pressure have no counterpart in air",
                        "remove the demand model",
                    );
                }
                "HYDRAULICS" => return wrong("a file of saved hydraulics has no counterpart", "remove the line"),
                _ => {}
            }
        }
        if !darcy {
            let cause = "the head loss is not by Darcy and Weisbach, so that roughness and losses mean nothing for air";
            return Err(Problem::with_file(
                Kind::Conflict,
                self.source.name(),
                cause,
                "set HEADLOSS D-W, with roughness in mm or thousandths of a foot",
            ));
        }
        self.density = gravity * WATER_KG_M3;
        // Up to a thousandth it is the viscosity itself, above it multiplies that of water.
        self.kinematic = match viscosity {
            v if v > 1e-3 => v * WATER_M2_S,
            v if self.customary => v * M_PER_FT * M_PER_FT,
            v => v,
        };
        if !(0.1..=10.0).contains(&self.density) {
            let cause = format!("the fluid has {:.4} kg/m3, which is not air", self.density);
            let remedy = "state air under [OPTIONS], such as SPECIFIC GRAVITY 0.0012 and VISCOSITY 15 (times water's)";
            return Err(Problem::with_file(Kind::Range, self.source.name(), cause, remedy));
        }
        Ok(())
    }

    /// What has no counterpart.
    fn refuse_others(&self) -> Result<(), Problem> {
        for line in &self.lines {
            let cause = match line.section {
                "TANKS" => "a tank has no counterpart in air",
                "PUMPS" => "a pump is not carried over: EPANET's file says neither its density nor the unit's losses",
                "VALVES" => "a valve has no counterpart",
                "CONTROLS" | "RULES" => "what changes with time has no counterpart in a steady solve",
                "LEAKAGE" => "a leaking pipe has no counterpart: describe its holes as emitters",
                "DEMANDS" => "a demand has no counterpart: a hole is an emitter",
                "STATUS" => "a status is not carried over: remove the pipes that are closed",
                _ => continue,
            };
            if line.section == "DEMANDS" && self.number(line, 1, "the demand")? == 0.0 {
                continue;
            }
            let remedy = "take the line out of the copy that is read; add [unit.fan] or the unit's model to the text that comes out";
            return Err(self.refused(line, Kind::Conflict, cause, remedy));
        }
        Ok(())
    }

    fn written(&self) -> Result<String, Problem> {
        self.refuse_others()?;
        let (length_m, bore_m, rough_m) =
            if self.customary { (M_PER_FT, M_PER_IN, 1e-3 * M_PER_FT) } else { (1.0, 1e-3, 1e-3) };
        let mut nodes = BTreeSet::new();
        let mut out = format!(
            "# Made from {}: add the unit's fan or model in place of the suctions, and how the facts are known.\n\
             # Holes have the discharge coefficient {} that their diameters were worked out with.\nformat = {FORMAT}\nname = {}\n\n\
             [air]\ndensity = \"{:e} kg/m3\"\nviscosity = \"{:e} Pa s\"\n\n[model]\nfriction = \"hagen-dunlop-swamee-jain\"\nmomentum = false\n",
            quoted(self.source.name()),
            tables::DISCHARGE,
            toml::Value::from(self.title.unwrap_or_default()),
            self.density,
            self.density * self.kinematic,
        );
        self.nodes(&mut out, &mut nodes, length_m)?;
        for line in self.of("PIPES") {
            let ends = [1, 2].map(|at| line.words.get(at).copied().unwrap_or_default());
            if let Some(unknown) = ends.iter().find(|name| !nodes.contains(**name)) {
                let cause = format!("no junction or reservoir is named {}", quoted(unknown));
                return Err(self.refused(line, Kind::UnknownName, cause, "correct the name"));
            }
            let minor = if line.words.len() > 6 && line.words[6].parse::<f64>().is_ok() {
                self.number(line, 6, "the minor loss")?
            } else {
                0.0
            };
            if let Some(status) = line
                .words
                .get(6..)
                .and_then(|rest| rest.iter().find(|w| w.parse::<f64>().is_err() && !w.eq_ignore_ascii_case("open")))
            {
                let cause = format!("a pipe that is {} has no counterpart", quoted(status));
                return Err(self.refused(
                    line,
                    Kind::Conflict,
                    cause,
                    "remove the pipe if it is closed; air flows both ways through one that is open",
                ));
            }
            let _ = write!(
                out,
                "\n[[segment]]\nnear = {}\nfar = {}\nlength = \"{:e} m\"\nbore = \"{:e} m\"\nroughness = \"{:e} m\"\nk = {minor:e}\n",
                toml::Value::from(ends[0]),
                toml::Value::from(ends[1]),
                self.number(line, 3, "the length")? * length_m,
                self.number(line, 4, "the diameter")? * bore_m,
                self.number(line, 5, "the roughness")? * rough_m,
            );
        }
        self.openings(&mut out, &nodes)?;
        Ok(out)
    }

    /// Junctions and reservoirs.
    fn nodes(&self, out: &mut String, nodes: &mut BTreeSet<&'a str>, length_m: f64) -> Result<(), Problem> {
        let mut own = |line: &Line<'a>| {
            let name = line.words[0];
            if nodes.insert(name) {
                Ok(name)
            } else {
                Err(self.refused(
                    line,
                    Kind::Duplicate,
                    format!("the name {} stands twice", quoted(name)),
                    "give each point its own name",
                ))
            }
        };
        for line in self.of("JUNCTIONS") {
            let name = own(line)?;
            if line.words.len() > 2 && self.number(line, 2, "the demand")? != 0.0 {
                return Err(self.refused(
                    line,
                    Kind::Conflict,
                    "a demand has no counterpart: a hole is an emitter",
                    "set the demand to 0, and give the junction an emitter",
                ));
            }
            let height = if line.words.len() > 1 { self.number(line, 1, "the elevation")? * length_m } else { 0.0 };
            let _ = write!(out, "\n[[node]]\nname = {}\nheight = \"{height:e} m\"\n", toml::Value::from(name));
        }
        let mut suctions: BTreeMap<usize, (String, f64)> = BTreeMap::new();
        for line in self.of("RESERVOIRS") {
            let name = own(line)?;
            let pressure = self.number(line, 1, "the head")? * length_m * GRAVITY * self.density;
            if suctions.values().any(|(_, other)| other * pressure < 0.0) {
                let cause = "one reservoir draws and another blows";
                return Err(self.refused(line, Kind::Conflict, cause, "give all reservoirs heads of one sign"));
            }
            if suctions.len() >= MAX_INLETS {
                let cause = format!("there are more than {MAX_INLETS} reservoirs, and each is an inlet of the unit");
                return Err(self.refused(line, Kind::TooLarge, cause, "keep those that stand for inlets"));
            }
            let _ = write!(out, "\n[[node]]\nname = {}\n", toml::Value::from(name));
            suctions.insert(suctions.len() + 1, (name.to_owned(), pressure));
        }
        if suctions.is_empty() {
            let cause = "there is no reservoir, so nothing stands for the unit's inlet";
            return Err(Problem::with_file(
                Kind::MissingKey,
                self.source.name(),
                cause,
                "put a reservoir where the inlet is; its head is the suction",
            ));
        }
        for (number, (name, pressure)) in suctions {
            // With every head negated and every flow turned round it is the same problem.
            let _ = write!(
                out,
                "\n[[inlet]]\nnumber = {number}\nnode = {}\nsuction = \"{:e} Pa\"\n",
                toml::Value::from(name.as_str()),
                pressure.abs()
            );
        }
        Ok(())
    }

    /// Emitters: flow = coefficient x pressure^0.5, with the pressure in psi, or in m of the fluid.
    fn openings(&self, out: &mut String, nodes: &BTreeSet<&'a str>) -> Result<(), Problem> {
        let gravity = self.density / WATER_KG_M3;
        // In psi the fluid's own weight counts; in metres it does not.
        let per_root_m = if self.customary { (gravity * PSI_PER_FT / M_PER_FT).sqrt() } else { 1.0 };
        for (i, line) in self.of("EMITTERS").enumerate() {
            let name = line.words[0];
            if !nodes.contains(name) {
                return Err(self.refused(
                    line,
                    Kind::UnknownName,
                    format!("no junction is named {}", quoted(name)),
                    "correct the name",
                ));
            }
            let area = self.number(line, 1, "the coefficient")? * self.flow_m3_s * per_root_m / (2.0 * GRAVITY).sqrt();
            if area <= 0.0 {
                return Err(self.refused(
                    line,
                    Kind::Range,
                    "an emitter whose coefficient is not above 0 is no hole",
                    "remove the line, or correct the coefficient",
                ));
            }
            let diameter = (4.0 * area / (tables::DISCHARGE * PI)).sqrt();
            let _ = write!(
                out,
                "\n[[opening]]\nnode = {}\nnumber = {}\ndiameter = \"{diameter:e} m\"\ndischarge = {}\n",
                toml::Value::from(name),
                i + 1,
                tables::DISCHARGE
            );
        }
        Ok(())
    }
}

/// A flow unit in m3/s, and whether lengths are in feet with it.
fn unit(name: &str) -> Option<(f64, bool)> {
    const FT3: f64 = M_PER_FT * M_PER_FT * M_PER_FT;
    const GALLON: f64 = 3.785_411_784e-3;
    const IMPERIAL: f64 = 4.546_09e-3;
    Some(match name {
        "CFS" => (FT3, true),
        "GPM" => (GALLON / 60.0, true),
        "MGD" => (GALLON * 1e6 / 86_400.0, true),
        "IMGD" => (IMPERIAL * 1e6 / 86_400.0, true),
        "AFD" => (43_560.0 * FT3 / 86_400.0, true),
        "LPS" => (1e-3, false),
        "LPM" => (1e-3 / 60.0, false),
        "MLD" => (1e3 / 86_400.0, false),
        "CMH" => (1.0 / 3600.0, false),
        "CMD" => (1.0 / 86_400.0, false),
        "CMS" => (1.0, false),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipework::parse;

    const SMALL: &str = "[TITLE]\nStore room\n[JUNCTIONS]\n;id elev demand\nA 0 0\nB 0\n[RESERVOIRS]\nR -20\n[PIPES]\nP1 R A 5 21 0.0015 0.5 Open\nP2 A B 4 21 0.0015 0\n\
        [EMITTERS]\nA 2.0\nB 3.0\n[OPTIONS]\nUNITS LPM\nHEADLOSS D-W\nSPECIFIC GRAVITY 0.0012\nVISCOSITY 14.5\n[TIMES]\nDURATION 0\n[END]\n";

    #[test]
    fn a_small_network_by_hand() {
        let file = parse("x", import_inp("x.inp", SMALL.as_bytes()).unwrap().as_bytes()).unwrap();
        let p = &file.pipework;
        assert_eq!((p.name.as_str(), p.segments.len(), p.openings.len(), p.inlets.len()), ("Store room", 2, 2, 1));
        // 20 m of a fluid of 0.0012 x 999.552 kg/m3.
        let plumeline_base::pipework::Drive::InletSuction(suction) = &p.unit.drive else { panic!("a fan") };
        assert!((suction[0] - 20.0 * 9.80665 * 1.199_462_4).abs() < 1e-6);
        // 3 L/min at a head of 1 m: q = Cd A sqrt(2 g h).
        let o = &p.openings[1];
        let head: f64 = 1.0;
        let q = o.discharge * PI / 4.0 * o.diameter_m * o.diameter_m * (2.0 * 9.80665 * head).sqrt();
        assert!((q / (3.0e-3 / 60.0) - 1.0).abs() < 1e-9, "{q}");
        assert_eq!((p.segments[0].bore_m, p.segments[0].minor_k), (0.021, 0.5));
    }

    #[test]
    fn what_can_t_be_carried_over_is_named_by_its_line() {
        for (line, with, at, says) in [
            ("B 0\n", "B 0 3.5\n", 6, "a demand has no counterpart"),
            ("[EMITTERS]", "[PUMPS]\nX R A HEAD 1\n[EMITTERS]", 13, "a pump is not carried over"),
            ("0.5 Open", "0.5 CV", 10, "`CV`"),
            ("P2 A B 4", "P2 A C 4", 11, "`C`"),
            ("UNITS LPM", "UNITS XYZ", 16, "unit of flow"),
            ("[TIMES]", "[TURBINES]", 20, "no section"),
            ("A 2.0", "A -2.0", 13, "not above 0"),
            ("P2 A B 4 21", "P2 A B four 21", 11, "no number for the length"),
            ("[TIMES]", "EMITTER EXPONENT 0.6\n[TIMES]", 20, "root of the pressure"),
        ] {
            let problem = import_inp("x.inp", SMALL.replace(line, with).as_bytes()).unwrap_err();
            assert_eq!(problem.place().map(|p| p.line), Some(at), "{problem}");
            assert!(problem.cause().contains(says), "{problem}");
        }
        for (line, with, says) in [
            ("HEADLOSS D-W", "HEADLOSS H-W", "Darcy"),
            ("SPECIFIC GRAVITY 0.0012\n", "", "not air"),
            ("R -20\n", "", "no reservoir"),
        ] {
            let without = SMALL
                .replace(line, with)
                .replace(if says == "no reservoir" { "P1 R A 5 21 0.0015 0.5 Open\n" } else { "\u{0}" }, "");
            let problem = import_inp("x.inp", without.as_bytes()).unwrap_err();
            assert!(problem.cause().contains(says), "{problem}");
        }
    }
}
