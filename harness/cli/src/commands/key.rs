//! `plumeline key`: makes and shows the keys that seal jobs, and asks for passphrases.
use crate::args::{Key, KeyNew, KeyShow};
use plumeline_job::{
    Kind, Problem,
    key::{NamedKey, SigningKey},
};
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::{print_progress, print_result},
};
use std::{io::Read as _, path::Path};
use zeroize::Zeroizing;

/// Most that is read of a passphrase file, bytes.
const PASSPHRASE_LIMIT: u64 = 64 * 1024;

/// `plumeline key`
pub fn key(args: &Key) -> Result<Exit, Failure> {
    match args {
        Key::New(args) => new(args),
        Key::Show(args) => show(args),
    }
}

fn new(args: &KeyNew) -> Result<Exit, Failure> {
    let public = NamedKey::beside(&args.out);
    if public.try_exists()? {
        return Err(Failure::input(
            format!("{}: it is there already", public.display()),
            "keys are never overwritten: choose another name with `--out`",
        ));
    }
    let passphrase = match &args.passphrase_file {
        Some(file) => Some(from_file(file)?),
        None if args.passphrase => Some(asked_twice()?),
        None => None,
    };
    let key = SigningKey::generate(&args.name)?;
    key.write(&args.out, passphrase.as_deref().map(String::as_str))?;
    let named = key.named();
    named.write(&public)?;
    print_progress(&format!("private key: {} (keep it to yourself, and a copy in a safe place)", args.out.display()));
    print_progress(&format!("public key:  {} (hand it to whoever is to check your seals)", public.display()));
    tell(&named);
    Ok(Exit::Pass)
}

fn show(args: &KeyShow) -> Result<Exit, Failure> {
    let named = match NamedKey::read(&args.file) {
        Err(problem) if problem.kind() == Kind::Syntax => private(&args.file, args.passphrase_file.as_deref())?.named(),
        read => read?,
    };
    print_result(named.to_text()?.trim_end());
    Ok(Exit::Pass)
}

fn tell(named: &NamedKey) {
    print_result(&format!("name:        {}", named.name));
    print_result(&format!("fingerprint: {}", named.key.fingerprint()));
}

/// Reads a private key; its passphrase comes from this file, or else the terminal is asked.
pub fn private(path: &Path, passphrase_file: Option<&Path>) -> Result<SigningKey, Problem> {
    SigningKey::read(path, || match passphrase_file {
        Some(file) => from_file(file),
        None => asked(&format!("Passphrase of {}: ", path.display())),
    })
}

fn from_file(path: &Path) -> Result<Zeroizing<String>, Problem> {
    // It may come from a pipe, so that it need not lie in a file; of whatever comes, only so much is read.
    let told = |e| Problem::from_io(path, "read the passphrase", &e);
    let mut text = Zeroizing::new(String::new());
    std::fs::File::open(path).map_err(told)?.take(PASSPHRASE_LIMIT).read_to_string(&mut text).map_err(told)?;
    let first = text.lines().next().unwrap_or_default();
    if first.is_empty() {
        let remedy = "write the passphrase into the first line of the file";
        return Err(Problem::with_file(Kind::Range, &path.display().to_string(), "the passphrase is empty", remedy));
    }
    Ok(Zeroizing::new(first.to_owned()))
}

fn asked(words: &str) -> Result<Zeroizing<String>, Problem> {
    let told = rpassword::prompt_password(words).map(Zeroizing::new);
    told.map_err(|e| {
        let cause = format!("the terminal can't be asked for the passphrase: {e}");
        Problem::with_file(Kind::System, "key", cause, "give it in a file: `--passphrase-file FILE`")
    })
}

fn asked_twice() -> Result<Zeroizing<String>, Failure> {
    let first = asked("New passphrase: ")?;
    if first.is_empty() {
        return Err(Failure::input("the passphrase is empty", "type one, or make a key without `--passphrase`"));
    }
    if *first != *asked("The same again: ")? {
        return Err(Failure::input("the two passphrases differ", "try again"));
    }
    Ok(first)
}
