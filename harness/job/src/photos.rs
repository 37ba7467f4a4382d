//! Photos that a person names in an answer, kept in the job's `photos` folder under a name of the tool's own.
//!
//! Not here: how a file is kept (`kept`), what a photo shows, and the journal entry that names it.
use crate::{
    error::{Kind, Problem, too_large},
    folder::Folder,
    kept::{KeptFile, Shelf},
};
use std::{
    fs,
    io::{self, Read as _},
    path::Path,
};

/// The folder of photos within a job.
pub const PHOTOS: &str = "photos";
/// Largest photo that is kept, bytes.
pub const PHOTO_LIMIT: u64 = 32 * 1024 * 1024;
/// The kinds of picture that are kept, by the ending of the kept name.
const ENDINGS: [&str; 4] = ["jpg", "png", "webp", "heic"];

/// A photo as it is kept.
pub type Photo = KeptFile;

const SHELF: Shelf = Shelf { dir: PHOTOS, what: "photo", unnamed: "photo", endings: &ENDINGS, limit: PHOTO_LIMIT };

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
    SHELF.keep(folder, &stem, ending, &bytes)
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
    SHELF.keep(folder, stem, ending, bytes)
}

/// Whether a photo that the journal names is in its place, as it was.
///
/// # Errors
/// [`Kind::Absent`], [`Kind::Altered`]; [`Kind::Range`] for a name that [`take_in`] never makes.
pub fn check(folder: &Folder, photo: &Photo) -> Result<(), Problem> {
    SHELF.check(folder, photo)
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
