//! The seal of a design, made before the job by whoever answers for pipework and plan: the job is judged by these files, and its record
//! shows whether they are still the ones that were signed.
//!
//! The same form as a job's seal, under a name and with words of its own, so that neither passes for the other. It is an input of the
//! job: its digest stands in the journal. Not here: whose key is the right one.
use super::{TEXT_LIMIT, canonical, manifest::SealedFile, short};
use crate::{
    digest::Digest,
    error::{Kind, Problem},
    folder::{self, Folder},
    key::{PublicKey, Signature, SigningKey},
};
use serde::{Deserialize, Serialize};

/// Version of the format.
pub const FORMAT: u32 = 1;
/// What stands before the body in the bytes that are signed.
pub const CONTEXT: &[u8] = b"plumeline design 1\n";
const BEFORE: &[u8] = b"{\"design\":";
const BEHIND: &[u8] = b",\"signature\":\"";
const TAIL: usize = BEHIND.len() + 128 + b"\"}\n".len();

/// What the seal of a design says. Its keys are in the order of canonical JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Design {
    /// When, RFC 3339, by the clock of the machine that signed.
    pub date: String,
    /// The files, sorted by name.
    pub files: Vec<SealedFile>,
    /// Version of the format, 1.
    pub format: u32,
    /// The public key of whoever signed.
    #[cfg_attr(feature = "schema", schemars(with = "Digest"))]
    pub key: PublicKey,
    /// Whose key it is said to be.
    pub signer: String,
    /// What the signer says to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub statement: Option<String>,
    /// Version of the tool.
    pub tool: String,
}

/// Signs the files that a job is to be judged by, in place of an earlier seal of its design.
///
/// # Errors
/// [`Kind::Absent`] without pipework or plan; what the system reports.
pub fn sign(
    folder: &Folder,
    date: String,
    words: Option<&str>,
    tool: &str,
    key: &SigningKey,
) -> Result<Design, Problem> {
    let mut files = Vec::new();
    for (name, needed) in folder::INPUTS {
        if name != folder::DESIGN && (needed || folder.exists(name)?) {
            let file = folder.read(name)?;
            files.push(SealedFile { length: file.bytes.len() as u64, name: file.name, sha256: file.digest });
        }
    }
    files.sort_by(|a, b| a.name.cmp(&b.name));
    let design = Design {
        date,
        files,
        format: FORMAT,
        key: key.public(),
        signer: key.name().to_owned(),
        statement: words.map(short),
        tool: tool.to_owned(),
    };
    let body = canonical(&design).map_err(|e| {
        Problem::with_file(Kind::Internal, folder::DESIGN, format!("it has no canonical form: {e}"), "report this")
    })?;
    let signature = key.sign(&[CONTEXT, &body].concat());
    folder.replace(folder::DESIGN, &[BEFORE, &body, BEHIND, signature.to_string().as_bytes(), b"\"}\n"].concat())?;
    Ok(design)
}

/// Reads the seal of a design: its form to the byte and its signature, by the key that it names itself.
///
/// # Errors
/// [`Kind::Altered`] unless it is as it was signed.
pub fn read(bytes: &[u8]) -> Result<Design, Problem> {
    let altered = || {
        let remedy = "put back the seal of the design as it was written, or have the design signed again";
        Problem::with_file(Kind::Altered, folder::DESIGN, "it is not the seal of a design as it was signed", remedy)
    };
    let (front, tail) = bytes.split_at(bytes.len().saturating_sub(TAIL));
    let body = front.strip_prefix(BEFORE).ok_or_else(altered)?;
    let digits = tail.strip_prefix(BEHIND).and_then(|t| t.strip_suffix(b"\"}\n")).ok_or_else(altered)?;
    let signature = str::from_utf8(digits).ok().and_then(Signature::parse).ok_or_else(altered)?;
    let design: Design = serde_json::from_slice(body).map_err(|_| altered())?;
    let stands = canonical(&design).ok().as_deref() == Some(body)
        && design.format == FORMAT
        && design.signer.len() <= TEXT_LIMIT
        && design.key.verifies(&[CONTEXT, body].concat(), &signature);
    if stands { Ok(design) } else { Err(altered()) }
}

impl Design {
    /// How the files that a job was judged by differ from those that were signed; nothing where they are the same.
    pub fn differs_from<'a>(&self, files: impl Iterator<Item = (&'a str, &'a [u8])>) -> Vec<String> {
        let judged: Vec<(&str, Digest)> = files
            .filter(|(name, _)| *name != folder::DESIGN && folder::INPUTS.iter().any(|(input, _)| input == name))
            .map(|(name, bytes)| (name, Digest::of(bytes)))
            .collect();
        let other = judged.iter().filter_map(|(name, digest)| match self.files.iter().find(|f| f.name == *name) {
            Some(signed) if signed.sha256 == *digest => None,
            Some(_) => Some(format!("{name} is not what was signed")),
            None => Some(format!("{name} was not signed")),
        });
        let missing = self.files.iter().filter(|f| judged.iter().all(|(name, _)| *name != f.name));
        other.chain(missing.map(|f| format!("{} was signed and is missing", f.name))).collect()
    }
}
