//! What is wrong or open in a job's files, known before the site is out of service: each remark with its place, what
//! follows from it, a remedy and a stable code.
//!
//! Each check is a pure function from files that were read to remarks. Not here: reading a folder, predicting, simulating
//! (the runtime and the lab do that), and what is shown on a screen.
mod codes;
mod geometry;
mod model;
mod plan;
mod predicted;
mod settings;
mod template;
mod wiring;

pub use codes::{Code, Weight};
pub use plan::port;
pub use predicted::predicted;

use crate::{
    Problem,
    account::{self, AccountFile},
    description, folder,
    pipework::{self, PipeworkFile},
    plan::PlanFile,
    settings::Document,
};
use plumeline_unit::{Description, UnitView};
use serde::{Serialize, ser::SerializeStruct};

/// Something that is wrong or open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// Of which kind.
    pub code: Code,
    /// The file.
    pub file: &'static str,
    /// The key within it, or the line; empty: the whole file.
    pub key: String,
    /// What is so.
    pub says: String,
    /// What to do, where the problem itself says more than its kind does.
    own_remedy: String,
}
impl Remark {
    /// A remark on a key of a file.
    pub fn new(code: Code, file: &'static str, key: impl Into<String>, says: impl Into<String>) -> Self {
        Self { code, file, key: key.into(), says: says.into(), own_remedy: String::new() }
    }
    /// Of a file that can't be read, or of files that contradict each other, with the problem's own remedy.
    pub fn unreadable(file: &'static str, problem: &Problem) -> Self {
        let line = problem.place().map_or_else(String::new, |p| format!("line {}", p.line));
        let told = Self::new(Code::FileUnreadable, file, line, problem.cause());
        Self { own_remedy: problem.remedy().to_owned(), ..told }
    }
    fn remedy(&self) -> &str {
        if self.own_remedy.is_empty() { self.code.remedy() } else { &self.own_remedy }
    }
    /// The remark as lines of plain text.
    pub fn text(&self) -> String {
        let place = if self.key.is_empty() { self.file.to_owned() } else { format!("{}: {}", self.file, self.key) };
        let (weight, code) = (self.code.weight().words(), self.code.name());
        let (follows, remedy) = (self.code.follows(), self.remedy());
        format!("{weight} [{code}] {place}: {}\n  so: {follows}\n  do: {remedy}", self.says)
    }
}
impl Serialize for Remark {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let mut out = s.serialize_struct("Remark", 7)?;
        out.serialize_field("code", &self.code)?;
        out.serialize_field("weight", &self.code.weight())?;
        out.serialize_field("file", self.file)?;
        out.serialize_field("key", &self.key)?;
        out.serialize_field("says", &self.says)?;
        out.serialize_field("follows", self.code.follows())?;
        out.serialize_field("remedy", self.remedy())?;
        out.end()
    }
}

/// A job's files as far as they can be read.
#[derive(Debug, Default)]
pub struct Read {
    /// `pipework.toml`.
    pub pipework: Option<PipeworkFile>,
    /// `plan.toml`.
    pub plan: Option<PlanFile>,
    /// `settings-new.json`.
    pub settings: Option<Document>,
    /// `unit-replacement.toml`.
    pub replacement: Option<Description>,
    /// `carry-account.json`.
    pub account: Option<AccountFile>,
    /// Files that are there and can't be read: told already.
    unreadable: Vec<&'static str>,
}
impl Read {
    /// Reads what there is; what can't be read is a remark. `bytes` gives a file by its name.
    pub fn of<'a>(bytes: impl Fn(&str) -> Option<&'a [u8]>, remarks: &mut Vec<Remark>) -> Self {
        let mut read = Self::default();
        let mut unreadable = Vec::new();
        let mut told = |file: &'static str, p: Problem| {
            unreadable.push(file);
            remarks.push(Remark::unreadable(file, &p));
        };
        macro_rules! take {
            ($into:ident, $file:expr, $parse:expr) => {
                match bytes($file).map($parse) {
                    Some(Ok(it)) => read.$into = Some(it),
                    Some(Err(problem)) => told($file, problem),
                    None => {}
                }
            };
        }
        take!(replacement, folder::UNIT_REPLACEMENT, |b| description::parse(folder::UNIT_REPLACEMENT, b));
        let outgoing = bytes(folder::UNIT_OUTGOING).and_then(|b| description::parse(folder::UNIT_OUTGOING, b).ok());
        let own: Vec<_> = read.replacement.iter().chain(&outgoing).cloned().collect();
        let own: Vec<_> = own.iter().collect();
        take!(pipework, folder::PIPEWORK, |b| pipework::parse_with(folder::PIPEWORK, b, &own));
        if let Some(file) = &read.pipework {
            let pipework = &file.pipework;
            take!(plan, folder::PLAN, |b| crate::plan::parse(folder::PLAN, b, pipework));
        }
        take!(settings, folder::SETTINGS_NEW, |b| crate::settings::parse(folder::SETTINGS_NEW, b));
        take!(account, folder::ACCOUNT, |b| account::parse(folder::ACCOUNT, b));
        if let Some(Err(problem)) = read.account.as_ref().map(|a| a.allows(read.settings.as_ref())) {
            told(folder::ACCOUNT, problem);
        }
        if let (Some(plan), Some(account)) = (&mut read.plan, &read.account)
            && plan.plan.outputs.wires.is_empty()
        {
            plan.plan.outputs.wires = account.wires();
        }
        read.unreadable = unreadable;
        read
    }
    /// The replacement with the settings that are to be loaded.
    fn unit(&self) -> UnitView<'_> {
        UnitView::new(self.replacement.as_ref(), None, self.settings.as_ref().map(|d| &d.settings))
    }
}

/// What of a pipework is still the template's.
pub use template::untouched_pipework as untouched;

/// What is implausible about a pipework's geometry.
pub use geometry::implausible;

fn shapes(read: &Read) -> Vec<Remark> {
    read.pipework.as_ref().map(implausible).unwrap_or_default()
}

/// Everything that the files alone tell, in the order of the codes.
pub fn files<'a>(bytes: impl Fn(&str) -> Option<&'a [u8]>) -> (Read, Vec<Remark>) {
    let mut remarks = Vec::new();
    let read = Read::of(bytes, &mut remarks);
    for check in [template::untouched, shapes, model::differs, settings::loadable, wiring::agrees, plan::open] {
        remarks.extend(check(&read));
    }
    remarks.sort_by_key(|r| r.code);
    (read, remarks)
}
