//! The catalogue of what goes wrong at a replacement, by name and severity.
//!
//! Not here: what a defect does to the air (the site builds that) or to the unit (the device does).
use core::fmt;

/// When a defect comes into being.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Since {
    /// It was there before the job began.
    Always,
    /// It is made when the pipes are refitted to the replacement.
    Refit,
    /// It shows when the unit restarts after its settings were written.
    Load,
}

/// One kind of defect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum DefectKind {
    /// One sampling hole is blocked.
    HoleBlocked,
    /// Several sampling holes of a pipe are blocked; severity: how many.
    HolesBlocked,
    /// A sampling hole is partly blocked; severity: the share of its area that is closed.
    HolePartlyBlocked,
    /// A pipe's end cap is missing: the end is open to its whole bore.
    EndCapMissing,
    /// The hole in a pipe's end cap is blocked.
    CapBlocked,
    /// A pipe is off its inlet; both are open to the room.
    PipeOff,
    /// A pipe is not pushed home; severity: diameter of a hole that leaks as much, mm.
    PipeHalfSeated,
    /// A pipe is broken; severity: where, as a share of its main run's length from the unit.
    PipeBroken,
    /// Two pipes went into each other's inlets; `pipe` and the next one.
    PipesCrossed,
    /// An inlet that carries no pipe was left open.
    InletLeftOpen,
    /// The unit's filter is clogged; severity: its loss as a multiple of a clean filter's.
    FilterClogged,
    /// The fan runs at another speed than it was set to; severity: the ratio of the two.
    FanSettingWrong,
    /// The exhaust pipe was left off; severity: pressure of the room over that of the exhaust's end, Pa.
    ExhaustOff,
    /// A hole was drilled wrong; severity: ratio of drilled to designed diameter.
    WrongHoleDrilled,
    /// A capillary is kinked; severity: ratio of the narrowed bore to the bore.
    CapillaryKinked,
    /// The unit silently returns one setting to its factory value at the restart after the load; severity: which (an
    /// index into the unit's settings).
    SettingLost,
    /// Two wires changed places at the replacement's output terminals; severity: the first of the two terminals.
    WiresCrossed,
}

/// A defect of one installation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Defect {
    /// What.
    pub kind: DefectKind,
    /// On which pipe (the number of the inlet it belongs in), where that applies. Default: the first that has one.
    pub pipe: Option<u8>,
    /// At which hole of that pipe, where that applies. Default: the middle one.
    pub hole: Option<u32>,
    /// How badly, in the kind's own measure. Default: [`DefectKind::usual_severity`].
    pub severity: Option<f64>,
}

/// One row of the catalogue.
struct Row {
    kind: DefectKind,
    name: &'static str,
    since: Since,
    usual: f64,
    range: (f64, f64),
    measure: &'static str,
}
const fn row(
    kind: DefectKind,
    name: &'static str,
    since: Since,
    usual: f64,
    range: (f64, f64),
    measure: &'static str,
) -> Row {
    Row { kind, name, since, usual, range, measure }
}
use DefectKind as K;
/// The catalogue: name, since when, usual severity, its range and measure.
const CATALOGUE: [Row; 17] = [
    row(K::HoleBlocked, "hole-blocked", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::HolesBlocked, "holes-blocked", Since::Refit, 3.0, (2.0, 100.0), "number of holes"),
    row(K::HolePartlyBlocked, "hole-partly-blocked", Since::Refit, 0.5, (0.0, 1.0), "share of the area closed"),
    row(K::EndCapMissing, "end-cap-missing", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::CapBlocked, "cap-blocked", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::PipeOff, "pipe-off", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::PipeHalfSeated, "pipe-half-seated", Since::Refit, 6.0, (0.1, 25.0), "diameter of an equal hole, mm"),
    row(K::PipeBroken, "pipe-broken", Since::Refit, 0.5, (0.01, 0.99), "share of the run's length from the unit"),
    row(K::PipesCrossed, "pipes-crossed", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::InletLeftOpen, "inlet-left-open", Since::Refit, 1.0, (1.0, 1.0), ""),
    row(K::FilterClogged, "filter-clogged", Since::Refit, 12.0, (1.0, 1000.0), "loss against a clean filter's"),
    row(K::FanSettingWrong, "fan-setting-wrong", Since::Refit, 0.75, (0.2, 2.0), "ratio of actual to set speed"),
    row(K::ExhaustOff, "exhaust-off", Since::Refit, 30.0, (-500.0, 500.0), "room over exhaust pressure, Pa"),
    row(K::WrongHoleDrilled, "wrong-hole-drilled", Since::Always, 1.6, (0.1, 5.0), "ratio of diameters"),
    row(K::CapillaryKinked, "capillary-kinked", Since::Always, 0.4, (0.05, 1.0), "ratio of bores"),
    row(K::SettingLost, "setting-lost", Since::Load, 1.0, (0.0, 1000.0), "index of the setting"),
    row(K::WiresCrossed, "wires-crossed", Since::Refit, 1.0, (1.0, 15.0), "first of the two terminals"),
];

impl DefectKind {
    /// All kinds, in the order of the catalogue.
    pub fn all() -> impl Iterator<Item = Self> {
        CATALOGUE.iter().map(|r| r.kind)
    }
    fn row(self) -> &'static Row {
        // Every kind is in the catalogue (tested); the first row stands in so that this can't panic.
        CATALOGUE.iter().find(|r| r.kind == self).unwrap_or(&CATALOGUE[0])
    }
    /// The name, as a person writes it.
    pub fn name(self) -> &'static str {
        self.row().name
    }
    /// When it comes into being.
    pub fn since(self) -> Since {
        self.row().since
    }
    /// The severity taken when none is given.
    pub fn usual_severity(self) -> f64 {
        self.row().usual
    }
    /// Least and greatest severity.
    pub fn severity_range(self) -> (f64, f64) {
        self.row().range
    }
    /// What the severity measures; empty where it has none.
    pub fn measure(self) -> &'static str {
        self.row().measure
    }
}
impl fmt::Display for DefectKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Why a defect's text was not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DefectError {
    /// No such name.
    #[error("there is no defect called `{0}`; choose one of {list}", list = names())]
    Unknown(String),
    /// A part after the colon is not `pipe=N`, `hole=N` or `severity=X`.
    #[error("`{0}` is not understood; write pipe=N, hole=N or severity=X, separated by commas")]
    Part(String),
    /// The severity is outside the kind's range.
    #[error("the severity {given} of {kind} is outside {low} to {high} ({measure})")]
    Severity {
        /// The kind.
        kind: DefectKind,
        /// What was given.
        given: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// What it measures.
        measure: &'static str,
    },
    /// The pipework has no place for this defect.
    #[error("{kind} can't be made here: {why}")]
    NoPlace {
        /// The kind.
        kind: DefectKind,
        /// What is missing.
        why: &'static str,
    },
}
/// The names of all defects, separated by commas.
pub fn names() -> String {
    CATALOGUE.map(|r| r.name).join(", ")
}

impl Defect {
    /// A defect of this kind at its usual place and severity.
    pub const fn usual(kind: DefectKind) -> Self {
        Self { kind, pipe: None, hole: None, severity: None }
    }
    /// Reads `name` or `name:pipe=1,hole=7,severity=0.5` (each part may be left out).
    ///
    /// # Errors
    /// Names the part that is not understood, or the range that was left.
    pub fn parse(text: &str) -> Result<Self, DefectError> {
        let (name, parts) = text.split_once(':').unwrap_or((text, ""));
        let kind =
            DefectKind::all().find(|k| k.name() == name.trim()).ok_or_else(|| DefectError::Unknown(name.into()))?;
        let mut defect = Self::usual(kind);
        for part in parts.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            let bad = || DefectError::Part(part.into());
            let (key, value) = part.split_once('=').ok_or_else(bad)?;
            match key.trim() {
                "pipe" => defect.pipe = Some(value.trim().parse().map_err(|_| bad())?),
                "hole" => defect.hole = Some(value.trim().parse().map_err(|_| bad())?),
                "severity" => defect.severity = Some(value.trim().parse().map_err(|_| bad())?),
                _ => return Err(bad()),
            }
        }
        defect.check()
    }
    /// The defect itself if its severity is within its kind's range.
    ///
    /// # Errors
    /// [`DefectError::Severity`] otherwise.
    pub fn check(self) -> Result<Self, DefectError> {
        let (low, high) = self.kind.severity_range();
        let given = self.severity();
        if given >= low && given <= high {
            Ok(self)
        } else {
            Err(DefectError::Severity { kind: self.kind, given, low, high, measure: self.kind.measure() })
        }
    }
    /// The severity given, or the usual one.
    pub fn severity(&self) -> f64 {
        self.severity.unwrap_or_else(|| self.kind.usual_severity())
    }
}
impl fmt::Display for Defect {
    /// The text that [`Defect::parse`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind.name())?;
        let mut mark = ':';
        let mut part = |f: &mut fmt::Formatter<'_>, text: fmt::Arguments<'_>| {
            write!(f, "{mark}{text}")?;
            mark = ',';
            Ok(())
        };
        if let Some(p) = self.pipe {
            part(f, format_args!("pipe={p}"))?;
        }
        if let Some(h) = self.hole {
            part(f, format_args!("hole={h}"))?;
        }
        if let Some(s) = self.severity {
            part(f, format_args!("severity={s}"))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_name_reads_back() {
        for kind in DefectKind::all() {
            let d = Defect { pipe: Some(2), hole: Some(7), ..Defect::usual(kind) };
            assert_eq!(Defect::parse(&d.to_string()), Ok(d));
            assert_eq!(Defect::parse(kind.name()), Ok(Defect::usual(kind)));
            assert_eq!(kind.row().kind, kind);
        }
    }
    #[test]
    fn wrong_text_is_named() {
        assert!(matches!(Defect::parse("hole-bloked"), Err(DefectError::Unknown(n)) if n == "hole-bloked"));
        assert_eq!(Defect::parse("hole-blocked:hole=x"), Err(DefectError::Part("hole=x".into())));
        assert!(matches!(Defect::parse("hole-partly-blocked:severity=2"), Err(DefectError::Severity { .. })));
        assert!(Defect::parse("fan-setting-wrong:severity=NaN").is_err());
    }
}
