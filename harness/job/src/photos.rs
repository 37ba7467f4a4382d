//! Photos that a person names in an answer, kept in the job's `photos` folder under a name of the tool's own.
//!
//! A kept name is made of the letters and digits of the file's own name, the beginning of the digest of its bytes and
//! the ending that these bytes stand for. So no name leads out of the folder, no photo replaces another, and taking the
//! same one again (a program that was ended between copy and journal) changes nothing.
//!
//! Not here: what a photo shows, and the journal entry that names it.
use crate::{
    digest::Digest,
    disk::{self, Kind as FileKind},
    error::{Kind, Problem, quoted, too_large},
    folder::Folder,
};
use std::{
    fs,
    io::{self, Read as _},
    path::{Path, PathBuf},
};

/// The folder of photos within a job.
pub const PHOTOS: &str = "photos";
/// Largest photo that is kept, bytes.
pub const PHOTO_LIMIT: u64 = 32 * 1024 * 1024;
/// Most characters that are taken over from the file's own name.
const STEM_LIMIT: usize = 40;
/// Hexadecimal digits of the digest in a kept name.
const DIGITS: usize = 16;
/// The kinds of picture that are kept, by the ending of the kept name.
const ENDINGS: [&str; 4] = ["jpg", "png", "webp", "heic"];

/// A photo as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Photo {
    /// Where it is, from the job's folder: `photos/…`.
    pub name: String,
    /// Length, bytes.
    pub length: u64,
    /// SHA-256 of its bytes.
    pub digest: Digest,
}

/// Copies the picture at `from`, a path that a person gave, into the job. When this returns, the copy is on the disk.
///
/// # Errors
/// [`Kind::TooLarge`] over [`PHOTO_LIMIT`]; [`Kind::WrongType`] if it is no file or no JPEG, PNG, WebP or HEIF picture;
/// [`Kind::Altered`] if another picture has the kept name; what the system reports.
pub fn take_in(folder: &Folder, from: &Path) -> Result<Photo, Problem> {
    let told = |e: io::Error| Problem::from_io(from, "read the photo", &e);
    let shown = from.display().to_string();
    // Looked at before it is opened: opening a pipe would wait for whoever writes to it.
    if !fs::metadata(from).map_err(told)?.is_file() {
        return Err(no_photo(&shown, "it is no file"));
    }
    let mut bytes = Vec::new();
    fs::File::open(from).map_err(told)?.take(PHOTO_LIMIT + 1).read_to_end(&mut bytes).map_err(told)?;
    if bytes.len() as u64 > PHOTO_LIMIT {
        return Err(too_large(&shown, bytes.len() as u64, PHOTO_LIMIT));
    }
    let Some(ending) = ending(&bytes) else { return Err(no_photo(&shown, "its bytes are of no such picture")) };
    let stem = from.file_stem().unwrap_or_default().to_string_lossy();
    keep(folder, &stem, ending, &bytes)
}

/// Keeps a picture whose bytes came from elsewhere, as [`take_in`] does.
///
/// # Errors
/// As [`take_in`].
pub fn keep_bytes(folder: &Folder, stem: &str, bytes: &[u8]) -> Result<Photo, Problem> {
    if bytes.len() as u64 > PHOTO_LIMIT {
        return Err(too_large(stem, bytes.len() as u64, PHOTO_LIMIT));
    }
    let Some(ending) = ending(bytes) else { return Err(no_photo(stem, "its bytes are of no such picture")) };
    keep(folder, stem, ending, bytes)
}

fn keep(folder: &Folder, stem: &str, ending: &str, bytes: &[u8]) -> Result<Photo, Problem> {
    let digest = Digest::of(bytes);
    let file = format!("{}-{}.{ending}", plain(stem), &digest.to_string()[..DIGITS]);
    let dir = folder.dir().join(PHOTOS);
    let path = dir.join(&file);
    let disk = folder.disk();
    let made = || -> io::Result<()> {
        if !disk.exists(&dir)? {
            disk.create_dir(&dir)?;
            disk.sync_dir(folder.dir())?;
        }
        if !disk.exists(&path)? {
            disk::replace(disk, &path, bytes)?;
        }
        Ok(())
    };
    made().map_err(|e| Problem::from_io(&path, "keep the photo", &e))?;
    let photo = Photo { name: format!("{PHOTOS}/{file}"), length: bytes.len() as u64, digest };
    check(folder, &photo)?;
    Ok(photo)
}

/// Whether a photo that the journal names is in its place, as it was.
///
/// # Errors
/// [`Kind::Absent`], [`Kind::Altered`]; [`Kind::Range`] for a name that [`take_in`] never makes.
pub fn check(folder: &Folder, photo: &Photo) -> Result<(), Problem> {
    let path = path(folder, &photo.name)?;
    let told = |e: io::Error| Problem::from_io(&path, "read the photo", &e);
    let dir = folder.disk().kind(&folder.dir().join(PHOTOS)).map_err(told)?;
    if (dir, folder.disk().kind(&path).map_err(told)?) != (FileKind::Dir, FileKind::File) {
        let cause = "it is a link, or no file in the job's own folder";
        return Err(Problem::with_file(Kind::Altered, &photo.name, cause, "put the photo itself in its place"));
    }
    let bytes = folder.disk().read(&path, PHOTO_LIMIT).map_err(told)?;
    if (bytes.len() as u64, Digest::of(&bytes)) == (photo.length, photo.digest) {
        return Ok(());
    }
    let cause = "it is not the photo that the journal records";
    Err(Problem::with_file(Kind::Altered, &photo.name, cause, "put back the photo as it was kept, from a copy"))
}

/// Where a kept photo is, if the name is one that the tool makes.
fn path(folder: &Folder, name: &str) -> Result<PathBuf, Problem> {
    let file = name.strip_prefix(PHOTOS).and_then(|n| n.strip_prefix('/')).filter(|file| is_kept_name(file));
    file.map(|file| folder.dir().join(PHOTOS).join(file)).ok_or_else(|| {
        let cause = format!("{} is no name of a photo that the tool kept", quoted(name));
        Problem::with_file(Kind::Range, PHOTOS, cause, "use the journal as the tool wrote it")
    })
}

fn is_kept_name(file: &str) -> bool {
    let Some((stem, ending)) = file.split_once('.') else { return false };
    let Some((own, digits)) = stem.rsplit_once('-') else { return false };
    ENDINGS.contains(&ending)
        && plain(own) == own
        && digits.len() == DIGITS
        && digits.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

/// What of a name is safe on every system: lower-case letters and digits, the rest as single dashes.
fn plain(stem: &str) -> String {
    let mut out = String::new();
    for c in stem.chars().take(STEM_LIMIT) {
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    let own = out.trim_end_matches('-');
    if own.is_empty() { "photo".to_owned() } else { own.to_owned() }
}

/// What the first bytes say that a picture is: JPEG (ITU-T T.81), PNG (ISO/IEC 15948), WebP (RFC 9649), HEIF
/// (ISO/IEC 23008-12).
fn ending(bytes: &[u8]) -> Option<&'static str> {
    let at = |from: usize, word: &[u8]| bytes.get(from..from + word.len()) == Some(word);
    if at(0, b"\xff\xd8\xff") {
        Some("jpg")
    } else if at(0, b"\x89PNG\r\n\x1a\n") {
        Some("png")
    } else if at(0, b"RIFF") && at(8, b"WEBP") {
        Some("webp")
    } else if at(4, b"ftyp") && [&b"heic"[..], b"heix", b"mif1"].iter().any(|brand| at(8, brand)) {
        Some("heic")
    } else {
        None
    }
}

fn no_photo(file: &str, why: &str) -> Problem {
    let remedy = "name a picture as JPEG, PNG, WebP or HEIF, or answer without a photo";
    Problem::with_file(Kind::WrongType, file, format!("this can't be kept as a photo: {why}"), remedy)
}
