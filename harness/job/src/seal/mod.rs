//! The seal of a job, `seal-1.json` and so on: a manifest of every file with its digest, the end of the journal's chain,
//! what the job came to, and a signature over all that.
//!
//! One file, put in place whole, is both manifest and signature, so a job is either sealed or not. Its body is
//! canonical JSON (RFC 8785); what is signed is [`CONTEXT`] and the body. See `docs/record.md`.
//!
//! Not here: whether a folder is as its seals say ([`verify`]), keys, and what makes a job incomplete.
pub mod design;
pub(crate) mod manifest;
mod verify;

use crate::{
    digest::Digest,
    disk,
    error::{Kind, Problem, quoted},
    folder::{self, Folder},
    key::{PublicKey, Signature, SigningKey},
};
use plumeline_base::Verdict;
use serde::{Deserialize, Serialize};

pub use manifest::SealedFile;
pub use verify::{Held, Standing, State, Superseded, verify};

/// Version of the format. Format 1 had neither warnings nor words of the signer.
pub const FORMAT: u32 = 2;
/// What stands before the body in the bytes that are signed, so that no other use of the key can pass for a seal.
pub const CONTEXT: &[u8] = b"plumeline seal 1\n";
/// What stands before the body in the file, and behind it: with 128 digits and a closing bracket in between.
const BEFORE: &[u8] = b"{\"seal\":";
const BEHIND: &[u8] = b",\"signature\":\"";
const TAIL: usize = BEHIND.len() + 128 + b"\"}\n".len();
/// Longest text of a seal's body that a person gave or a job came to, bytes.
const TEXT_LIMIT: usize = 4096;

/// A seal as it stands in its file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(title = "A seal of a plumeline job"))]
pub struct SealFile {
    /// What is signed.
    pub seal: Seal,
    /// Ed25519 signature, 128 lower-case hexadecimal digits, over the words "plumeline seal 1", a line feed and the bytes of
    /// `seal` as they stand in the file.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[0-9a-f]{128}$")))]
    pub signature: String,
}

/// What a seal says. Its keys are in the order of canonical JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Whether everything was done and given back. It stands first.
    pub closed: Closed,
    /// When, RFC 3339, by the clock of the machine that sealed.
    pub date: String,
    /// Every file of the job but seals and the lock, sorted by name.
    pub files: Vec<SealedFile>,
    /// Version of the format, 1 or 2.
    pub format: u32,
    /// Which job: the hash of the first line of its journal that begins a stage.
    pub job: Digest,
    /// The end of the journal.
    pub journal: JournalEnd,
    /// The public key of whoever sealed, 64 lower-case hexadecimal digits.
    #[cfg_attr(feature = "schema", schemars(with = "Digest"))]
    pub key: PublicKey,
    /// Number of the seal, from 1 without gaps.
    #[cfg_attr(feature = "schema", schemars(range(min = 1)))]
    pub number: u32,
    /// SHA-256 of the file of the seal before; not there in the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub previous: Option<Digest>,
    /// Whose key it is said to be.
    pub signer: String,
    /// What the signer says to it, in words of their own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub statement: Option<String>,
    /// Version of the tool that sealed.
    pub tool: String,
    /// What the job came to.
    pub verdict: Judged,
    /// What a reader must know before the verdict: that the job was simulated, or answered by a script.
    #[serde(rename = "warnings", default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

/// Whether a job was closed with everything done and given back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Closed {
    /// How.
    #[serde(rename = "as")]
    pub how: Closing,
    /// Why it is incomplete; nothing if it is complete.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub because: Vec<String>,
}
impl Closed {
    /// Complete where nothing is left open.
    pub fn with(open: Vec<String>) -> Self {
        Self { how: if open.is_empty() { Closing::Complete } else { Closing::Incomplete }, because: open }
    }
}

/// How a job was closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Closing {
    /// The job is over; nothing is left isolated or inhibited.
    Complete,
    /// The job is not over, or something is left isolated or inhibited.
    Incomplete,
}

/// The end of a journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct JournalEnd {
    /// Hash of the last line.
    pub head: Digest,
    /// How many lines there are.
    pub lines: u64,
}

/// What a job came to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Judged {
    /// What it hangs on.
    pub because: String,
    /// The verdict.
    pub is: Verdict,
}

/// What a new seal says beyond what the folder holds.
#[derive(Clone, Debug)]
pub struct Statement {
    /// That the job was simulated, or answered by a script.
    pub cautions: Vec<String>,
    /// Whether everything was done.
    pub closed: Closed,
    /// What the job came to.
    pub verdict: Judged,
    /// Now, RFC 3339.
    pub date: String,
    /// Version of the tool.
    pub tool: String,
    /// What the signer says to it.
    pub words: Option<String>,
}

/// The file name of a seal.
pub fn file_name(number: u32) -> String {
    format!("seal-{number}.json")
}

/// The number of a seal by its file's name.
pub fn number_of(name: &str) -> Option<u32> {
    let digits = name.strip_prefix("seal-")?.strip_suffix(".json")?;
    digits.parse().ok().filter(|n| *n > 0 && file_name(*n) == name)
}

/// Seals the job as it stands, behind the seals of `standing`, which [`verify`] gave. The caller holds the lock. When this
/// returns, the seal is on the disk; if it does not return, there is the whole seal or none.
///
/// # Errors
/// What [`verify`] found wrong; [`Kind::Conflict`] if this key has sealed the same before; [`Kind::Range`] for a file whose
/// name can't be sealed; [`Kind::TooLarge`]; what the system reports.
pub fn add(folder: &Folder, standing: &Standing, statement: Statement, key: &SigningKey) -> Result<Seal, Problem> {
    manifest::take_unfinished_away(folder)?;
    let files = manifest::of(folder)?;
    let (job, journal) = verify::journal_of(folder)?;
    let last = standing.seals.last();
    let number = last.map_or(0, |s| s.seal.number) + 1;
    let Statement { cautions, closed, verdict, date, tool, words } = statement;
    let seal = Seal {
        cautions: cautions.iter().map(|s| short(s)).collect(),
        closed: Closed { because: closed.because.iter().map(|s| short(s)).collect(), ..closed },
        date,
        files,
        format: FORMAT,
        job,
        journal,
        key: key.public(),
        number,
        previous: last.map(|s| s.digest),
        signer: key.name().to_owned(),
        statement: words.as_deref().map(short),
        tool,
        verdict: Judged { because: short(&verdict.because), ..verdict },
    };
    standing.may_add(&seal)?;
    let name = file_name(number);
    let bytes = to_bytes(&name, &seal, key)?;
    let path = folder.path(&name)?;
    disk::replace(folder.disk(), &path, &bytes).map_err(|e| Problem::from_io(&path, "write the seal", &e))?;
    Ok(seal)
}

fn short(text: &str) -> String {
    text[..text.floor_char_boundary(TEXT_LIMIT)].to_owned()
}

/// The bytes of a seal's file.
fn to_bytes(name: &str, seal: &Seal, key: &SigningKey) -> Result<Vec<u8>, Problem> {
    let body = canonical(seal).map_err(|e| {
        Problem::with_file(Kind::Internal, name, format!("it has no canonical form: {e}"), "report this")
    })?;
    let signature = key.sign(&[CONTEXT, &body].concat());
    Ok([BEFORE, &body, BEHIND, signature.to_string().as_bytes(), b"\"}\n"].concat())
}

/// Canonical JSON, RFC 8785.
fn canonical(value: &impl Serialize) -> serde_json::Result<Vec<u8>> {
    serde_json_canonicalizer::to_vec(value)
}

/// Reads a seal's file: its form to the byte and its signature, by the key that it names itself.
///
/// # Errors
/// [`Kind::Altered`] unless the file is as it was signed; [`Kind::Version`].
pub fn read(name: &str, bytes: &[u8]) -> Result<Seal, Problem> {
    let remedy = "put back the seal as it was written, from a copy";
    let altered = |cause: String| Problem::with_file(Kind::Altered, name, cause, remedy);
    let no_seal = || altered("this does not have the form of a seal".to_owned());
    let (front, tail) = bytes.split_at(bytes.len().saturating_sub(TAIL));
    let body = front.strip_prefix(BEFORE).ok_or_else(no_seal)?;
    let digits = tail.strip_prefix(BEHIND).and_then(|t| t.strip_suffix(b"\"}\n")).ok_or_else(no_seal)?;
    let signature = str::from_utf8(digits).ok().and_then(Signature::parse).ok_or_else(no_seal)?;
    if let Ok(Versioned { format, .. }) = serde_json::from_slice(body)
        && !(1..=FORMAT).contains(&format)
    {
        let cause = format!("it is a seal of format {format}; this tool reads up to format {FORMAT}");
        return Err(Problem::with_file(Kind::Version, name, cause, "check it with the version that wrote it"));
    }
    let seal: Seal = serde_json::from_slice(body)
        .map_err(|e| altered(format!("it is no seal of this format (byte {}): {e}", BEFORE.len() + e.column())))?;
    if seal.format == 1 && !(seal.cautions.is_empty() && seal.statement.is_none()) {
        return Err(altered("it has what its format does not know".to_owned()));
    }
    if canonical(&seal).ok().as_deref() != Some(body) {
        return Err(altered("it does not stand as it was written: its JSON is not in the canonical form".to_owned()));
    }
    if !seal.key.verifies(&[CONTEXT, body].concat(), &signature) {
        return Err(altered("its signature does not hold: it was altered after it was signed".to_owned()));
    }
    let sorted = seal.files.windows(2).all(|w| w[0].name < w[1].name);
    if let Some(bad) = seal.files.iter().find(|f| !manifest::is_tame(&f.name)) {
        return Err(altered(format!("it names {}, which can't be a file of the job", quoted(&bad.name))));
    }
    if !sorted || number_of(name) != Some(seal.number) || (seal.number == 1) != seal.previous.is_none() {
        return Err(altered(format!("it is seal {} under another's name, or its list is out of order", seal.number)));
    }
    Ok(seal)
}

/// Any version's body.
#[derive(Deserialize)]
struct Versioned {
    format: u32,
}

/// The files that only grow: what a seal covers is their beginning, of the length that it states.
pub(crate) const GROWING: [&str; 2] = [folder::JOURNAL, folder::TRACE];
/// The tool writes this file anew when a job goes on.
pub(crate) fn is_written_anew(name: &str) -> bool {
    folder::REPORTS.contains(&name) || [folder::SETTINGS_AS_FOUND, folder::SETTINGS_AS_LEFT].contains(&name)
}
