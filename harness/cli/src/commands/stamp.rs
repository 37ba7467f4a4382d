//! `plumeline stamp`: a record stamped by a service that is asked by files, so that a laptop without a network can do it.
//!
//! Not here: what `check` says of stamps (`stamps`).
use crate::{args::Stamp, output, stamps};
use plumeline_job::{
    folder::Folder,
    input_file, seal,
    stamp_file::{self, Stampable},
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::{print_progress, print_result},
};
use plumeline_stamp::ANSWER_LIMIT;
use std::path::Path;

/// `plumeline stamp`
pub fn stamp(args: &Stamp) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    match (&args.request, &args.answer) {
        (Some(out), _) => request(&folder, out),
        (None, Some(answer)) => take(&folder, answer, args.anchor.as_deref()),
        (None, None) => Err(Failure::input("neither a request nor an answer is named", "give --request or --answer")),
    }
}

fn request(folder: &Folder, out: &Path) -> Result<Exit, Failure> {
    let standing = seal::verify(folder);
    if let Some(problem) = standing.problems.first() {
        return Err(problem.clone().into());
    }
    let (digest, of) = Stampable::of(folder, &standing).newest(&standing)?;
    let bytes = plumeline_stamp::request(&digest.0)
        .map_err(|e| Failure::input(format!("the request can't be written: {e}"), "report this"))?;
    output::put(out, &bytes, "write the request", &[])?;
    print_result(&format!("{}: a request for a stamp over {}", out.display(), stamps::what(of)));
    print_progress(&format!("take the answer with: plumeline stamp {} --answer FILE.tsr", folder.dir().display()));
    Ok(Exit::Pass)
}

fn take(folder: &Folder, answer: &Path, anchor: Option<&Path>) -> Result<Exit, Failure> {
    let _lock = folder.lock()?;
    let anchors = anchor.map(stamps::anchors).transpose()?;
    let bytes = input_file::read(answer, "read the answer", ANSWER_LIMIT as u64)?;
    let stampable = Stampable::of(folder, &seal::verify(folder));
    let held = stamps::look(&answer.display().to_string(), &bytes, &stampable, anchors.as_ref())?;
    let name = stamp_file::keep(folder, &bytes)?;
    print_result(&held.words(&name));
    Ok(Exit::Pass)
}
