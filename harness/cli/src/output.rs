//! Files that a command writes where a person says: never over what it read, nor over what belongs to a job's record.
//!
//! Not here: what stands in them, and the job's own folder.
use plumeline_job::{Problem, disk, folder, seal, stamp_file};
use plumeline_runtime::failure::Failure;
use std::path::Path;

/// What is never written from outside a job, where there is one.
const OF_A_JOB: [&str; 7] = [
    folder::PIPEWORK,
    folder::PLAN,
    folder::TRACE,
    folder::JOURNAL,
    folder::SETTINGS_AS_FOUND,
    folder::SETTINGS_AS_LEFT,
    folder::LOCK,
];

/// Puts a file in place whole; `inputs` are the files that were read for it.
///
/// # Errors
/// It is one of the inputs, or of a job's record; what the system reports.
pub(crate) fn put(out: &Path, bytes: &[u8], doing: &str, inputs: &[&Path]) -> Result<(), Failure> {
    not_over(out, inputs)?;
    Ok(disk::replace(&disk::OsDisk, out, bytes).map_err(|e| Problem::from_io(out, doing, &e))?)
}

fn not_over(out: &Path, inputs: &[&Path]) -> Result<(), Failure> {
    let Ok(real) = out.canonicalize() else { return Ok(()) };
    let remedy = "choose another name for what is written";
    if inputs.iter().any(|input| input.canonicalize().is_ok_and(|input| input == real)) {
        return Err(Failure::input(format!("{}: this is what is read; it is not written over", out.display()), remedy));
    }
    let name = real.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let of_record = OF_A_JOB.contains(&&*name) || folder::REPORTS.contains(&&*name);
    let of_record = of_record || seal::number_of(&name).is_some() || stamp_file::number_of(&name).is_some();
    let in_a_job = |file: &str| real.with_file_name(file).exists();
    if of_record && (in_a_job(folder::PLAN) || in_a_job(&seal::file_name(1))) {
        return Err(Failure::input(format!("{}: this is a file of a job", out.display()), remedy));
    }
    Ok(())
}
