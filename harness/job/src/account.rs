//! `carry-account.json`: the account of a carry-over with what it was made from, by digests; and the rule that settings
//! with anything open, or other ones than the account says, are not loaded.
//!
//! Not here: the carrying over (the carry crate), and how the account is shown (the report crate).
use crate::{
    TEXT_LIMIT,
    digest::Digest,
    error::{Kind, Problem, Source},
    folder,
    settings::{self, Document},
    written,
};
use plumeline_carry::{Account, Decision, Description};
use plumeline_detector::Identity;
use plumeline_procedure::plan;
use plumeline_unit::meaning::Function;
use serde::{Deserialize, Serialize};

/// The version of the format that is read and written.
pub const FORMAT: u32 = 1;

/// A model as an account names it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// SHA-256 of the description's file.
    pub description_sha256: Digest,
}
impl Model {
    /// The model that a description file describes.
    pub fn new(description: &Description, file: &[u8]) -> Self {
        Self {
            maker: description.maker.clone(),
            model: description.model.clone(),
            description_sha256: Digest::of(file),
        }
    }
}

/// What a `carry-account.json` holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AccountFile {
    /// Version of this format.
    pub format: u32,
    /// The unit whose settings were captured, if the capture says.
    pub unit: Option<Identity>,
    /// Its model.
    pub from: Model,
    /// The new unit's model.
    pub to: Model,
    /// SHA-256 over the captured items.
    pub old_sha256: Digest,
    /// SHA-256 over the new items; none while anything is open.
    pub new_sha256: Option<Digest>,
    /// SHA-256 of the `pipework.toml` that the holes were computed with.
    pub pipework_sha256: Digest,
    /// What was decided.
    pub decisions: Vec<Decision>,
    /// What became of every item.
    pub account: Account,
}

/// Reads an account. `name` is what messages call it.
///
/// # Errors
/// What is wrong, with its line, column and remedy.
pub fn parse(name: &str, bytes: &[u8]) -> Result<AccountFile, Problem> {
    let source = Source::new(name, bytes, TEXT_LIMIT)?;
    let file: AccountFile = written::from_json(&source)?;
    if file.format != FORMAT {
        let cause = format!("this file says that its format is {}; this tool reads format {FORMAT}", file.format);
        let remedy = "use the version of the tool that wrote the file";
        return Err(Problem::with_file(Kind::Version, name, cause, remedy));
    }
    Ok(file)
}

impl AccountFile {
    /// The wiring sheet as the carry-over wrote it: what each output of the new unit that carries wires stands for.
    pub fn wires(&self) -> Vec<plan::Wire> {
        let wired = self.account.wiring.iter().filter(|w| w.from.is_some()).filter_map(|w| w.to.as_ref());
        let used = wired.filter(|to| to.function != Function::Nothing);
        used.map(|to| plan::Wire { output: to.output, function: to.function.to_string(), panel: None, input: None })
            .collect()
    }
    /// Whether these are the settings that may be loaded: nothing open, and the items are the account's.
    ///
    /// # Errors
    /// [`Kind::Conflict`] while decisions are open; [`Kind::Altered`] for other settings than the account's.
    pub fn allows(&self, new: Option<&Document>) -> Result<(), Problem> {
        let open = self.account.open.len();
        if open > 0 {
            let cause = format!("{open} decisions about the carry-over are open");
            let remedy = format!("decide them in {}, then run `plumeline carry` again", folder::DECISIONS);
            return Err(Problem::with_file(Kind::Conflict, folder::ACCOUNT, cause, remedy));
        }
        let settings = self.account.settings();
        let own = settings.as_ref().map(settings::digest);
        if own != self.new_sha256 || new.is_some_and(|n| Some(n.digest) != own) {
            let cause = format!("{} and {} do not hold the same settings", folder::SETTINGS_NEW, folder::ACCOUNT);
            let remedy = "run `plumeline carry` again, or take the account away if these settings do not come from it";
            return Err(Problem::with_file(Kind::Altered, folder::SETTINGS_NEW, cause, remedy));
        }
        Ok(())
    }
}
