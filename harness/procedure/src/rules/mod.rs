//! The rules of a job: every number that a verdict hangs on, declared once with its key in the plan, its dimension, its range,
//! its presets with their sources, and a sentence. Reading a plan, its template, its schema, the documents' table and the
//! report's rows all come from here; stages read the typed fields that the declarations make.
//!
//! A declaration lives in [`declared`] or [`advanced`]. Not here: how a number is written in a file (the job crate), and how a
//! value is judged (`crate::judge`). Local codes, the listing of the unit and a licensed person decide which limits apply.
pub mod advanced;
pub mod declared;

use crate::plan::Plan;
use alloc::{borrow::ToOwned, format, string::String, vec::Vec};
use plumeline_base::dimension::Dimension;
use serde::{Deserialize, Serialize};

/// How well the origin of a value is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// Checked against the published text.
    Published,
    /// Written down from memory of the published text: check before a verdict hangs on it.
    FromMemory,
    /// Common practice, no source.
    CommonPractice,
    /// Set by this job.
    ThisJob,
}
impl Mark {
    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::FromMemory => "from memory, check the source",
            Self::CommonPractice => "common practice, no source",
            Self::ThisJob => "set by this job",
        }
    }
}

/// A limit with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Limit {
    /// The value, in `unit`.
    pub value: f64,
    /// Unit: `s`, `Pa`, `1` (a fraction).
    pub unit: String,
    /// What it is and where it comes from, for example `NFPA 72, air-sampling detectors`.
    pub source: String,
    /// How well that is known.
    pub mark: Mark,
}

/// A value that a plan may pick by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preset {
    /// The name in `plan.toml`.
    pub name: &'static str,
    /// The value, in the unit of its rule.
    pub value: f64,
    /// What it is and where it comes from.
    pub source: &'static str,
    /// How well that is known.
    pub mark: Mark,
}

/// The source of what nobody published.
const PRACTICE: &str = "common practice";

const fn memory(name: &'static str, value: f64, source: &'static str) -> Preset {
    Preset { name, value, source, mark: Mark::FromMemory }
}
const fn practice(value: f64) -> Preset {
    practice_of(value, PRACTICE)
}
const fn practice_of(value: f64, source: &'static str) -> Preset {
    Preset { name: PRACTICE, value, source, mark: Mark::CommonPractice }
}

/// The values that a rule may have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// The lowest itself is not allowed.
    pub above_low: bool,
}
const fn between(low: f64, high: f64) -> Range {
    Range { low, high, above_low: false }
}
const fn over(low: f64, high: f64) -> Range {
    Range { low, high, above_low: true }
}
impl Range {
    /// Whether a value lies in it; what is no number does not.
    pub fn contains(&self, value: f64) -> bool {
        value <= self.high && if self.above_low { value > self.low } else { value >= self.low }
    }
}

/// A number that verdicts hang on, declared once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Its table in `plan.toml`, such as `holes`; empty at the top.
    pub section: &'static str,
    /// Its key there.
    pub key: &'static str,
    /// What it is, in one sentence.
    pub says: &'static str,
    /// What kind of quantity.
    pub dimension: Dimension,
    /// The values that it may have.
    pub range: Range,
    /// The values that a plan picks by name; the first holds where the plan says nothing. None: it is then not stated.
    pub presets: &'static [Preset],
}
impl Rule {
    /// Its name in messages and tables: `holes.average`.
    pub fn path(&self) -> String {
        if self.section.is_empty() { self.key.to_owned() } else { format!("{}.{}", self.section, self.key) }
    }
    /// The preset of this name, as a limit.
    pub fn preset(&self, name: &str) -> Option<Limit> {
        self.presets.iter().find(|p| p.name == name).map(|p| self.limit(p))
    }
    /// What holds where the plan says nothing.
    pub fn default(&self) -> Option<Limit> {
        self.presets.first().map(|p| self.limit(p))
    }
    /// The job's own value.
    pub fn own(&self, value: f64, source: &str) -> Limit {
        Limit { value, unit: self.dimension.unit().to_owned(), source: source.to_owned(), mark: Mark::ThisJob }
    }
    fn limit(&self, p: &Preset) -> Limit {
        Limit { value: p.value, unit: self.dimension.unit().to_owned(), source: p.source.to_owned(), mark: p.mark }
    }
    /// The range in plain words: `a time from 1 s to 1 h`.
    pub fn allowed(&self) -> String {
        let Range { low, high, above_low } = self.range;
        let word = if self.dimension == Dimension::Ratio && high > 1.0 { "a factor" } else { self.dimension.word() };
        let (low, high) = (self.dimension.shown(low), self.dimension.shown(high));
        if above_low { format!("{word} over {low}, up to {high}") } else { format!("{word} from {low} to {high}") }
    }
}

/// What holds for a rule in a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Used {
    /// The rule.
    pub rule: &'static Rule,
    /// The value with its source; `None` where nothing is stated and nothing holds by itself.
    pub limit: Option<Limit>,
    /// The plan changed it from what holds by itself.
    pub changed: bool,
}

/// How a field of the plan keeps the value of its rule.
trait Kept: Sized {
    /// From the value that holds; none where nothing is stated.
    fn of(limit: Option<&Limit>) -> Self;
    /// The value; with its origin where the field keeps that too.
    fn kept(&self) -> (Option<f64>, Option<&Limit>);
}
impl Kept for f64 {
    fn of(limit: Option<&Limit>) -> Self {
        // No rule of this kind is without a preset (a test sees to it).
        limit.map_or(f64::NAN, |l| l.value)
    }
    fn kept(&self) -> (Option<f64>, Option<&Limit>) {
        (Some(*self), None)
    }
}
impl Kept for u32 {
    fn of(limit: Option<&Limit>) -> Self {
        limit.map_or(0, |l| l.value as u32)
    }
    fn kept(&self) -> (Option<f64>, Option<&Limit>) {
        (Some(f64::from(*self)), None)
    }
}
impl Kept for u8 {
    fn of(limit: Option<&Limit>) -> Self {
        limit.map_or(0, |l| l.value as u8)
    }
    fn kept(&self) -> (Option<f64>, Option<&Limit>) {
        (Some(f64::from(*self)), None)
    }
}
impl Kept for Option<f64> {
    fn of(limit: Option<&Limit>) -> Self {
        limit.map(|l| l.value)
    }
    fn kept(&self) -> (Option<f64>, Option<&Limit>) {
        (*self, None)
    }
}
impl Kept for Limit {
    fn of(limit: Option<&Limit>) -> Self {
        let nothing = Limit { value: f64::NAN, unit: String::new(), source: String::new(), mark: Mark::ThisJob };
        limit.cloned().unwrap_or(nothing)
    }
    fn kept(&self) -> (Option<f64>, Option<&Limit>) {
        (Some(self.value), Some(self))
    }
}

/// A table of the plan, with its rules.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// Its name in `plan.toml`; empty at the top.
    pub section: &'static str,
    /// What it is about.
    pub about: &'static str,
    /// The rules that stand in it.
    pub rules: &'static [Rule],
}

/// A part of the typed plan that keeps the rules of a table.
trait Section {
    const TABLE: Table;
    /// What the fields keep, in the order of the rules.
    fn kept(&self) -> Vec<(Option<f64>, Option<&Limit>)>;
    fn set(&mut self, key: &str, limit: &Limit);
}

/// Declares tables of the plan: facts (kept there, but no rules), then rules, each
/// `/// sentence` and `field: type = "key", Dimension, range, [presets];`.
macro_rules! sections {
    ($($(#[doc = $about:literal])+ $Section:ident in $section:literal {
        $(facts { $($(#[doc = $fact_says:literal])+ $fact:ident: $Fact:ty = $fact_default:expr;)* })?
        $(#[doc = $says:literal] $field:ident: $Kept:ty = $key:literal, $dimension:ident, $range:expr, [$($preset:expr),*];)*
    })*) => {$(
        $(#[doc = $about])+
        #[derive(Clone, Debug, PartialEq, Serialize)]
        pub struct $Section {
            $($($(#[doc = $fact_says])+ pub $fact: $Fact,)*)?
            $(#[doc = $says] pub $field: $Kept,)*
        }
        impl Default for $Section {
            fn default() -> Self {
                #[allow(unused_mut, unused_variables)]
                let mut rules = <Self as $crate::rules::Section>::TABLE.rules.iter();
                Self {
                    $($($fact: $fact_default,)*)?
                    $($field: <$Kept as $crate::rules::Kept>::of(rules.next().and_then($crate::rules::Rule::default).as_ref()),)*
                }
            }
        }
        impl $crate::rules::Section for $Section {
            const TABLE: $crate::rules::Table = $crate::rules::Table {
                section: $section,
                about: $crate::rules::sentence(concat!($($about),+)),
                rules: &[$($crate::rules::Rule {
                    section: $section,
                    key: $key,
                    says: $crate::rules::sentence($says),
                    dimension: plumeline_base::dimension::Dimension::$dimension,
                    range: $range,
                    presets: &[$($preset),*],
                }),*],
            };
            fn kept(&self) -> alloc::vec::Vec<(Option<f64>, Option<&$crate::rules::Limit>)> {
                alloc::vec![$($crate::rules::Kept::kept(&self.$field)),*]
            }
            fn set(&mut self, key: &str, limit: &$crate::rules::Limit) {
                match key {
                    $($key => self.$field = $crate::rules::Kept::of(Some(limit)),)*
                    _ => {}
                }
            }
        }
    )*};
}
use sections;

/// A line of documentation without the blank that begins it.
pub(crate) const fn sentence(doc: &'static str) -> &'static str {
    match doc.as_bytes() {
        [b' ', ..] => doc.split_at(1).1,
        _ => doc,
    }
}

/// Says which field of the plan keeps which table.
macro_rules! tables {
    ($($Section:ty: $($field:ident).+;)*) => {
        /// The tables of the plan that hold rules, in the order of its template.
        pub const TABLES: &[Table] = &[$(<$Section as Section>::TABLE),*];
        fn kept(plan: &Plan) -> Vec<(Option<f64>, Option<&Limit>)> {
            let mut all = Vec::new();
            $(all.extend(Section::kept(&plan.$($field).+));)*
            all
        }
        /// Sets the field that keeps a rule.
        pub(crate) fn set(plan: &mut Plan, rule: &Rule, limit: &Limit) {
            $(if <$Section as Section>::TABLE.section == rule.section {
                plan.$($field).+.set(rule.key, limit);
            })*
        }
    };
}
tables! {
    declared::LinkPlan: link;
    declared::Limits: limits;
    declared::SettlePlan: settle;
    declared::FlowPlan: flow;
    declared::HolePlan: holes;
    declared::SmokePlan: smoke;
    declared::SupplyPlan: supply;
    declared::RulePlan: rule;
    advanced::SettleRules: advanced.settle;
    advanced::AverageRules: advanced.average;
    advanced::TypedRules: advanced.typed;
    advanced::HoleRules: advanced.holes;
    advanced::AsFoundRules: advanced.as_found;
    advanced::BaselineRules: advanced.baseline;
    advanced::SmokeRules: advanced.smoke;
    advanced::AlarmRules: advanced.alarms;
    advanced::InletRules: advanced.inlets;
    advanced::PurgeRules: advanced.purge;
    advanced::SuperviseRules: advanced.supervise;
    advanced::SupplyRules: advanced.supply;
    advanced::OutputRules: advanced.outputs;
    advanced::InhibitRules: advanced.inhibit;
    advanced::ReadingRules: advanced.readings;
    advanced::LoadRules: advanced.load;
    advanced::ClockRules: advanced.clock;
    advanced::LoggerRules: advanced.logger;
    advanced::ModelRules: advanced.model;
}

/// Every rule, in the order of the plan's template.
pub fn all() -> impl Iterator<Item = &'static Rule> {
    TABLES.iter().flat_map(|t| t.rules)
}

/// The rule with this table and key.
pub fn find(section: &str, key: &str) -> Option<&'static Rule> {
    all().find(|r| r.section == section && r.key == key)
}

/// What holds for every rule in a plan.
pub fn used(plan: &Plan) -> Vec<Used> {
    all().zip(kept(plan)).map(|(rule, (value, limit))| used_one(plan, rule, value, limit)).collect()
}

fn used_one(plan: &Plan, rule: &'static Rule, value: Option<f64>, limit: Option<&Limit>) -> Used {
    let changed = value != rule.default().map(|d| d.value);
    let limit = match (limit, value) {
        (Some(limit), _) => Some(limit.clone()),
        (None, None) => None,
        // A field that keeps a number alone has its origin from the preset of that value, or from the plan.
        (None, Some(value)) => Some(match plan.sources.get(&rule.path()) {
            Some(source) => rule.own(value, source),
            None => match rule.presets.iter().find(|p| p.value == value) {
                Some(preset) => rule.limit(preset),
                None => rule.own(value, THE_PLAN),
            },
        }),
    };
    Used { rule, limit, changed }
}

/// The source of a value that a plan states without one.
pub const THE_PLAN: &str = "the job's plan";

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::collections::BTreeSet;

    #[test]
    fn each_rule_stands_once_and_its_presets_are_in_range() {
        let mut seen = BTreeSet::new();
        for rule in all() {
            let path = rule.path();
            assert!(seen.insert(path.clone()), "{path} stands twice");
            assert_eq!(find(rule.section, rule.key), Some(rule));
            assert!(
                rule.says.len() > 10
                    && (!rule.says.ends_with('.') || rule.says.ends_with(" ..."))
                    && !rule.says.starts_with(' '),
                "{path}"
            );
            for p in rule.presets {
                assert!(rule.range.contains(p.value), "{path}: {} is out of range", p.name);
                assert!(!p.source.is_empty() && p.mark != Mark::ThisJob, "{path}: {}", p.name);
            }
            let names: BTreeSet<_> = rule.presets.iter().map(|p| p.name).collect();
            assert_eq!(names.len(), rule.presets.len(), "{path} has two presets of one name");
        }
        assert!(seen.len() > 60);
    }

    #[test]
    fn a_plan_keeps_every_rule_that_is_set() {
        let plan = Plan::default();
        for used in used(&plan) {
            assert_eq!(used.limit, used.rule.default(), "{}", used.rule.path());
            assert!(!used.changed);
        }
        for rule in all() {
            let mut plan = Plan::default();
            // Whole, so that it fits every type of field.
            let value = libm::ceil(rule.range.high);
            set(&mut plan, rule, &rule.own(value, "a test"));
            let changed: Vec<_> = used(&plan).into_iter().filter(|u| u.changed).collect();
            let [one] = &changed[..] else { panic!("{}: {changed:?}", rule.path()) };
            assert_eq!(one.rule, rule);
            assert_eq!(one.limit.as_ref().map(|l| l.value), Some(value), "{}", rule.path());
        }
    }
}
