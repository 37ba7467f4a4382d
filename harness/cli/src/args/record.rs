//! Arguments of the commands about the record of a job: seals, keys, handing over.
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Check a job.
#[derive(Args, Debug)]
pub struct Check {
    /// The job folder.
    pub job: PathBuf,
    /// The public key that the newest seal must be signed by. Without it, anyone could have signed.
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
    /// A code of this record that was written down: the record must still hold what it stands for.
    #[arg(long, value_name = "CODE")]
    pub code: Vec<String>,
    /// The unit's own event log, saved with `capture --event-log`, or the folder of a later service visit: the codes that this record left
    /// there must be of it.
    #[arg(long, value_name = "FILE|JOB")]
    pub unit_log: Option<PathBuf>,
    /// Certificates (PEM) of time-stamping services, or of whoever vouches for them: what is stamped must be stamped by these.
    #[arg(long, value_name = "FILE")]
    pub anchor: Option<PathBuf>,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Seal a job.
#[derive(Args, Debug)]
pub struct Close {
    /// The job folder.
    pub job: PathBuf,
    /// The private key to sign with (see `plumeline key new`).
    #[arg(long, value_name = "FILE")]
    pub key: PathBuf,
    /// Its passphrase is the first line of this file. Without it, the terminal is asked.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
    /// Seal a job that is not over, or that leaves something isolated or inhibited; the seal then says so.
    #[arg(long)]
    pub incomplete: bool,
    /// What you say to it, in words of your own; they stand in the seal. With these a job that is sealed is sealed once more.
    #[arg(long, value_name = "WORDS")]
    pub says: Option<String>,
}

/// Sign a design.
#[derive(Args, Debug)]
pub struct Design {
    /// The job folder, not yet begun.
    pub job: PathBuf,
    /// The private key of whoever answers for the design.
    #[arg(long, value_name = "FILE")]
    pub key: PathBuf,
    /// Its passphrase is the first line of this file. Without it, the terminal is asked.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
    /// What you say to it, in words of your own.
    #[arg(long, value_name = "WORDS")]
    pub says: Option<String>,
}

/// Have a record stamped.
#[derive(Args, Debug)]
pub struct Stamp {
    /// The job folder.
    pub job: PathBuf,
    /// Write the request here: over the newest seal, or over the journal as far as it goes.
    #[arg(long, value_name = "FILE.tsq", required_unless_present = "answer", conflicts_with = "answer")]
    pub request: Option<PathBuf>,
    /// Take the service's answer into the job.
    #[arg(long, value_name = "FILE.tsr")]
    pub answer: Option<PathBuf>,
    /// With --answer: it must be by one of these certificates (PEM), or by whom they vouch for.
    #[arg(long, value_name = "FILE", conflicts_with = "request")]
    pub anchor: Option<PathBuf>,
}

/// Compare two records.
#[derive(Args, Debug)]
pub struct Compare {
    /// The older record: a job folder, or the archive of one.
    pub old: PathBuf,
    /// The newer record.
    pub new: PathBuf,
    /// The site has another name in one of them.
    #[arg(long)]
    pub other_name: bool,
    /// One JSON object instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Keys.
#[derive(Subcommand, Debug)]
pub enum Key {
    /// Make a new key: a private file, and a public one beside it to hand out.
    New(KeyNew),
    /// Show the public key of a private or a public key file.
    Show(KeyShow),
}

/// Make a key.
#[derive(Args, Debug)]
pub struct KeyNew {
    /// The private key's file; the public one gets `.pub` behind it.
    #[arg(long, value_name = "FILE", default_value = "plumeline.key")]
    pub out: PathBuf,
    /// Whose key it is; it stands in every seal.
    #[arg(long, value_name = "WHO", default_value = "no name given")]
    pub name: String,
    /// Encrypt the private key with a passphrase; the terminal asks for it.
    #[arg(long)]
    pub passphrase: bool,
    /// Encrypt it with the passphrase in the first line of this file.
    #[arg(long, value_name = "FILE", conflicts_with = "passphrase")]
    pub passphrase_file: Option<PathBuf>,
}

/// Show a key.
#[derive(Args, Debug)]
pub struct KeyShow {
    /// The key file.
    pub file: PathBuf,
    /// The passphrase of a private key is the first line of this file. Without it, the terminal is asked.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
}

/// Pack a job.
#[derive(Args, Debug)]
pub struct Pack {
    /// The job folder.
    pub job: PathBuf,
    /// The archive.
    #[arg(short, long, value_name = "FILE.zip")]
    pub out: PathBuf,
}

/// Unpack a job.
#[derive(Args, Debug)]
pub struct Unpack {
    /// The archive.
    pub archive: PathBuf,
    /// The new job folder.
    #[arg(short, long, value_name = "FOLDER")]
    pub out: PathBuf,
    /// The public key that the newest seal must be signed by.
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
}
