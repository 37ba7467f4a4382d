//! `plumeline close`: seals a job. `plumeline pack` and `plumeline unpack`: hands it over in one file.
//!
//! What a job came to is taken from a strict replay of its trace, never from the files that a report is made of; those are
//! written anew before they are sealed. Not here: the form of a seal, and keys.
use super::{
    check::{self, Examined},
    key,
};
use crate::{
    args::{Check, Close, Pack, Unpack},
    inspection,
};
use plumeline_base::Verdict;
use plumeline_job::{
    Problem, archive,
    folder::{self, Folder},
    key::NamedKey,
    seal::{self, Closed, Closing, Judged, Seal, State, Statement},
};
use plumeline_report::Digests;
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    finish,
    replay::Replayed,
    show::{print_progress, print_result, print_trouble},
};
use std::path::Path;

/// `plumeline close`
pub fn close(args: &Close) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    not_within(&args.key, folder.dir())?;
    let key = key::private(&args.key, args.passphrase_file.as_deref())?;
    let mut found = check::examine(&folder)?;
    // What a sealed job was given since may be sealed too; what was altered may not.
    if !found.standing.problems.is_empty() || found.standing.all_problems().len() < found.problems.len() {
        for problem in &found.problems {
            print_trouble(&problem.render(false));
        }
        print_result("not sealed: what does not hold is not signed");
        return Ok(Exit::Fail);
    }
    let (cautions, closed, verdict) = match found.standing.newest().filter(|_| found.standing.state == State::Sealed) {
        Some(last) if last.key == key.public() && found.standing.added.is_empty() && args.says.is_none() => {
            print_result("this key has sealed the job as it is");
            return Ok(tell(&folder, last));
        }
        // Another signature under the same, or files that were added: the job itself says nothing new.
        Some(last) => {
            let cautions = found.inspection.as_ref().map_or(&last.cautions, |i| &i.cautions);
            (cautions.clone(), last.closed.clone(), last.verdict.clone())
        }
        None => what_it_came_to(&folder, &mut found)?,
    };
    if closed.how == Closing::Incomplete && !args.incomplete {
        return Err(Failure::input(
            format!("{}: {}", folder.dir().display(), closed.because.join(" ")),
            "put that right and run the job to its end; or seal it as incomplete with `--incomplete`, which stands first \
             wherever the seal is shown",
        ));
    }
    let (date, tool, words) = (clock::date(), env!("CARGO_PKG_VERSION").into(), args.says.clone());
    let statement = Statement { cautions, closed, verdict, date, tool, words };
    let seal = seal::add(&folder, &found.standing, statement, &key)?;
    Ok(tell(&folder, &seal))
}

/// The replay of a job in which nothing is left to be set aside or added.
fn settled(folder: &Folder, found: &mut Examined) -> Result<Replayed, Failure> {
    if !found.is_settled() {
        return Err(Failure::input(
            format!(
                "{}: the program was ended in the middle of this job, and its record ends there",
                folder.dir().display()
            ),
            "run the job again first: `plumeline run` puts the record in order and goes on",
        ));
    }
    found.replayed.take().ok_or_else(|| {
        Failure::input(
            format!("{}: another version sealed this job, so it can't be judged anew here", folder.dir().display()),
            "close it with the version that sealed it",
        )
    })
}

/// How the job is closed and what it came to. The files that follow from the job are written anew before they are sealed.
fn what_it_came_to(folder: &Folder, found: &mut Examined) -> Result<(Vec<String>, Closed, Judged), Failure> {
    let replayed = settled(folder, found)?;
    if let Some(outcome) = replayed.session.outcome() {
        let digests = Digests {
            journal_head: found.checked.head.to_string(),
            trace: replayed.end.map(|c| c.hash.to_string()).unwrap_or_default(),
        };
        finish::write(folder, &replayed.loaded, outcome, replayed.session.record(), &digests)?;
        let (closed, judged) = finish::stated(outcome);
        let not_as_signed = inspection::design(&replayed.files).and_then(Result::err);
        return Ok((finish::cautions(outcome).into_iter().chain(not_as_signed).collect(), closed, judged));
    }
    for name in folder::REPORTS {
        if folder.exists(name)? {
            return Err(Failure::input(
                format!("{name}: it is there, but the job is not over"),
                "take it out: it does not follow from this job",
            ));
        }
    }
    let because = "The job is not over: it was sealed before its end.".to_owned();
    Ok((
        Vec::new(),
        Closed::with(vec![because]),
        Judged { because: "the job is not over".to_owned(), is: Verdict::Undecided },
    ))
}

fn tell(folder: &Folder, seal: &Seal) -> Exit {
    let exit = match seal.closed.how {
        Closing::Complete => Exit::Pass,
        Closing::Incomplete => {
            print_result(&check::incomplete(seal));
            Exit::Undecided
        }
    };
    print_result(&finish::sealed(seal));
    print_progress(&format!("fingerprint of the key: {}", seal.key.fingerprint()));
    print_progress(&format!("check it with: plumeline check {} --key PUBLIC-KEY-FILE", folder.dir().display()));
    exit
}

/// A private key in the job's folder would be handed over with it.
pub(crate) fn not_within(key: &Path, dir: &Path) -> Result<(), Failure> {
    let real = |path: &Path| path.canonicalize().map_err(|e| Problem::from_io(path, "look for it", &e));
    if key.exists() && real(key)?.starts_with(real(dir)?) {
        return Err(Failure::input(
            format!("{}: this private key lies in the job's folder and would be handed over with it", key.display()),
            "move it out; if the folder was ever handed over, make a new key",
        ));
    }
    Ok(())
}

/// `plumeline pack`
pub fn pack(args: &Pack) -> Result<Exit, Failure> {
    let folder = Folder::open(&args.job)?;
    let _lock = folder.lock()?;
    let files = archive::pack(&folder, &args.out)?;
    print_progress(&format!("{files} files are in {}", args.out.display()));
    if seal::verify(&folder).state != State::Sealed {
        print_result(
            "the job is not sealed: whoever gets it can't tell whether it was altered (`plumeline close` seals it)",
        );
    }
    Ok(Exit::Pass)
}

/// `plumeline unpack`
pub fn unpack(args: &Unpack) -> Result<Exit, Failure> {
    if let Some(key) = &args.key {
        NamedKey::read(key)?;
    }
    let files = archive::unpack(&args.archive, &args.out)?;
    print_progress(&format!("{files} files are in {}", args.out.display()));
    check::check(&Check {
        job: args.out.clone(),
        key: args.key.clone(),
        code: Vec::new(),
        unit_log: None,
        anchor: None,
        json: false,
    })
}
