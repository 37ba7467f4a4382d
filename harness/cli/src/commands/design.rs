//! `plumeline design`: signs the files that a job is to be judged by, before it is begun.
use super::{close::not_within, key};
use crate::args::Design;
use plumeline_job::{folder::Folder, seal::design};
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    job_files::Files,
    resume,
    show::print_result,
};

/// `plumeline design`
pub fn design(args: &Design) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    if resume::is_begun(&folder)? {
        return Err(Failure::input(
            format!("{}: the job has begun: its design can't be signed any more", folder.dir().display()),
            "sign the design before the job; what was done is signed by `plumeline close`",
        ));
    }
    not_within(&args.key, folder.dir())?;
    // A description that the job would be given when it begins is signed too.
    Files::read_described(&folder)?;
    let key = key::private(&args.key, args.passphrase_file.as_deref())?;
    let signed = design::sign(&folder, clock::date(), args.says.as_deref(), env!("CARGO_PKG_VERSION"), &key)?;
    let names: Vec<&str> = signed.files.iter().map(|f| f.name.as_str()).collect();
    print_result(&format!("signed by {} ({}): {}", signed.signer, signed.key.fingerprint(), names.join(", ")));
    Ok(Exit::Pass)
}
