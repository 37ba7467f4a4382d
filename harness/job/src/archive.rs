//! A job in one file, to be handed over: packed into a ZIP archive, and unpacked into a new folder.
//!
//! What is unpacked may come from anyone. Nothing is written before the whole list of entries was looked at, nothing
//! outside the new folder, and the folder is there whole or not at all. Not here: whether the record holds (its seal).
use crate::{
    disk,
    error::{Kind, Problem, quoted, too_large},
    folder::{self, Folder},
    input_file,
    seal::manifest::{self, FILE_LIMIT, FILES_LIMIT},
};
use std::{
    collections::BTreeSet,
    fs, io,
    io::Read as _,
    path::{Path, PathBuf},
};
use zip::{
    CompressionMethod, DateTime, ZipArchive, ZipWriter, read::ZipFile, result::ZipError, write::SimpleFileOptions,
};

/// Most that an archive may come to when it is unpacked, bytes.
pub const TOTAL_LIMIT: u64 = 4 * 1024 * 1024 * 1024;

/// Packs every file of the job but the lock into a new archive. The same files give the same bytes. Gives how many files.
///
/// # Errors
/// [`Kind::Exists`] if there is such a file; [`Kind::Range`] for a file that can't be sealed either; what the system
/// reports.
pub fn pack(folder: &Folder, to: &Path) -> Result<usize, Problem> {
    let told = |e: io::Error| Problem::from_io(to, "write the archive", &e);
    let names = manifest::all_names(folder)?;
    manifest::no_private_key(folder, &names)?;
    if to.try_exists().map_err(told)? {
        return Err(told(io::ErrorKind::AlreadyExists.into()));
    }
    let unfinished = disk::temporary(to);
    // Never through a link that waits under this name.
    let _ = fs::remove_file(&unfinished);
    let made = fs::OpenOptions::new().write(true).create_new(true).open(&unfinished);
    let mut zip = ZipWriter::new(made.map_err(told)?);
    // No dates of this machine: the same job gives the same archive.
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    for name in &names {
        let path = folder.dir().join(name);
        let told_of = |e: io::Error| Problem::from_io(&path, "pack it", &e);
        let mut file = folder.disk().open(&path).map_err(told_of)?.take(FILE_LIMIT + 1);
        zip.start_file(name.as_str(), options).map_err(|e| told(e.into()))?;
        if io::copy(&mut file, &mut zip).map_err(told)? > FILE_LIMIT {
            return Err(too_large(name, FILE_LIMIT + 1, FILE_LIMIT));
        }
    }
    let file = zip.finish().map_err(|e| told(e.into()))?;
    file.sync_all().and_then(|()| fs::rename(&unfinished, to)).map_err(told)?;
    Ok(names.len())
}

/// Unpacks an archive into the new folder `to`. Gives how many files there are.
///
/// # Errors
/// [`Kind::Exists`] if there is something at `to`. Before anything is written: [`Kind::Syntax`] for no archive,
/// [`Kind::Range`] for an entry that leads out of the folder or is no plain file, [`Kind::Duplicate`],
/// [`Kind::TooLarge`]. [`Kind::Altered`] for an entry that is not what the archive's own list says; what the system
/// reports.
pub fn unpack(from: &Path, to: &Path) -> Result<usize, Problem> {
    let shown = from.display().to_string();
    let told = |e: io::Error| Problem::from_io(to, "unpack the job", &e);
    let file = input_file::open(from, "read the archive")?;
    let mut zip = ZipArchive::new(io::BufReader::new(file)).map_err(|e| no_archive(&shown, &e))?;
    let names = entries(&shown, &mut zip)?;
    if to.try_exists().map_err(told)? {
        return Err(told(io::ErrorKind::AlreadyExists.into()));
    }
    let unfinished = begin(to)?;
    let written = write(&shown, &mut zip, &names, &unfinished).and_then(|()| {
        fs::remove_file(unfinished.join(UNPACKING)).and_then(|()| fs::rename(&unfinished, to)).map_err(told)
    });
    if written.is_err() {
        // What was half unpacked must not be taken for a job.
        let _ = fs::remove_dir_all(&unfinished);
    }
    written.map(|()| names.len())
}

/// What stands in a folder into which is still being unpacked, so that no other is ever taken for one.
const UNPACKING: &str = ".unpacking";

/// The folder that is unpacked into, in place of one that an unpacking left which was ended.
fn begin(to: &Path) -> Result<PathBuf, Problem> {
    let unfinished = disk::temporary(to);
    let told = |e: io::Error| Problem::from_io(&unfinished, "unpack into it", &e);
    if let Ok(there) = fs::symlink_metadata(&unfinished) {
        let left = there.is_dir()
            && (unfinished.join(UNPACKING).exists() || fs::read_dir(&unfinished).map_err(told)?.next().is_none());
        if !left {
            let cause = "can't unpack into it: it is there already, and no unpacking left it";
            let shown = unfinished.display().to_string();
            return Err(Problem::with_file(
                Kind::Exists,
                &shown,
                cause,
                "move it away, or choose another name with --out",
            ));
        }
        fs::remove_dir_all(&unfinished).map_err(told)?;
    }
    fs::create_dir(&unfinished).and_then(|()| fs::File::create_new(unfinished.join(UNPACKING))).map_err(told)?;
    Ok(unfinished)
}

type Archive = ZipArchive<io::BufReader<fs::File>>;

/// The files of an archive by their place in it, once all of them may be unpacked.
fn entries(shown: &str, zip: &mut Archive) -> Result<Vec<(usize, String)>, Problem> {
    let refused = |kind: Kind, cause: String| {
        Err(Problem::with_file(kind, shown, cause, "do not use this archive; ask for one that `plumeline pack` wrote"))
    };
    if zip.len() > FILES_LIMIT {
        return refused(Kind::TooLarge, format!("it has {} entries; at most {FILES_LIMIT} are unpacked", zip.len()));
    }
    if zip.has_duplicate_names() || zip.has_overlapping_files().map_err(|e| no_archive(shown, &e))? {
        return refused(Kind::Duplicate, "two of its entries have one name or share bytes".to_owned());
    }
    let (mut names, mut seen, mut total) = (Vec::new(), BTreeSet::new(), 0_u64);
    for at in 0..zip.len() {
        let entry = zip.by_index_raw(at).map_err(|e| no_archive(shown, &e))?;
        let name = entry.name().map_err(|e| no_archive(shown, &e))?.into_owned();
        let plain = name.strip_suffix('/').unwrap_or(&name);
        if !manifest::is_tame(plain) || plain == folder::LOCK {
            return refused(Kind::Range, format!("its entry {} is no file within the folder", quoted(&name)));
        }
        if entry.is_dir() {
            continue;
        }
        if is_special(&entry) {
            return refused(Kind::Range, format!("its entry {} is a link, a device, or locked", quoted(&name)));
        }
        // Names that differ in nothing but capitals are one file on some systems.
        if !seen.insert(name.to_lowercase()) {
            return refused(Kind::Duplicate, format!("its entry {} is there twice", quoted(&name)));
        }
        total = total.saturating_add(entry.size());
        if entry.size() > FILE_LIMIT || total > TOTAL_LIMIT {
            return Err(too_large(&format!("{shown}: {name}"), entry.size(), FILE_LIMIT));
        }
        names.push((at, name));
    }
    if !names.iter().any(|(_, name)| name == folder::PLAN) {
        return refused(Kind::Absent, format!("this is not a packed job: it holds no {}", folder::PLAN));
    }
    Ok(names)
}

fn is_special<R: io::Read>(entry: &ZipFile<'_, R>) -> bool {
    // The file type of POSIX `st_mode`; archives of other systems have none.
    let kind = entry.unix_mode().map_or(0, |mode| mode & 0o170_000);
    entry.is_symlink() || entry.encrypted() || !matches!(kind, 0 | 0o100_000)
}

fn write(shown: &str, zip: &mut Archive, names: &[(usize, String)], dir: &Path) -> Result<(), Problem> {
    for (at, name) in names {
        let entry = zip.by_index(*at).map_err(|e| no_archive(shown, &e))?;
        let size = entry.size();
        let path: PathBuf = dir.join(name);
        let made = || -> io::Result<u64> {
            fs::create_dir_all(disk::parent(&path))?;
            let mut file = fs::OpenOptions::new().write(true).create_new(true).open(&path)?;
            // No more than was promised, whatever the bytes unfold to.
            let written = io::copy(&mut entry.take(size + 1), &mut file)?;
            file.sync_all()?;
            Ok(written)
        };
        match made() {
            Ok(written) if written == size => {}
            Err(e)
                if !matches!(
                    e.kind(),
                    io::ErrorKind::InvalidData
                        | io::ErrorKind::UnexpectedEof
                        | io::ErrorKind::Other
                        | io::ErrorKind::InvalidInput
                ) =>
            {
                return Err(Problem::from_io(&path, "unpack it", &e));
            }
            _ => {
                let cause = format!("its entry {} is damaged: it is not what the archive's list says", quoted(name));
                let remedy = "copy the archive again, or ask for it again";
                return Err(Problem::with_file(Kind::Altered, shown, cause, remedy));
            }
        }
    }
    Ok(())
}

fn no_archive(shown: &str, e: &ZipError) -> Problem {
    let cause = format!("this is no ZIP archive that can be read: {e}");
    Problem::with_file(Kind::Syntax, shown, cause, "check that it is the right file, and copy it again")
}
