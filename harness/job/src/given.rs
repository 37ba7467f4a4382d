//! A file that a user names: read whole, held to its limit before anything of it is read. Not here: a job's own files.
use crate::error::{Kind, Problem, too_large};
use std::{fs, io::Read as _, path::Path};

/// The bytes of a regular file of at most `limit` bytes. A device or a pipe may never end, or never begin: neither is opened.
/// `doing` says what for, such as "read the sheet".
///
/// # Errors
/// What is there in place of such a file.
pub fn read(path: &Path, doing: &str, limit: usize) -> Result<Vec<u8>, Problem> {
    let name = path.display().to_string();
    let told = |e| Problem::from_io(path, doing, &e);
    let there = fs::metadata(path).map_err(told)?;
    let refused = |cause: &str, remedy: &str| {
        Err(Problem::with_file(Kind::WrongType, &name, format!("can't {doing}: {cause}"), remedy))
    };
    if there.is_dir() {
        return refused("this is a folder", "name the file in it");
    }
    if !there.is_file() {
        return refused(
            "this is a device, a pipe or a socket, not a file",
            "store what comes out of it in a file, and name that",
        );
    }
    if there.len() > limit as u64 {
        return Err(too_large(&name, there.len(), limit as u64));
    }
    let mut bytes = Vec::new();
    // It may grow while it is read.
    fs::File::open(path).and_then(|f| f.take(limit as u64 + 1).read_to_end(&mut bytes)).map_err(told)?;
    if bytes.len() > limit { Err(too_large(&name, bytes.len() as u64, limit as u64)) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_files_and_only_so_long() {
        let dir = std::env::temp_dir().join(format!("plumeline-given-{}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        let file = dir.join("a.csv");
        fs::write(&file, "12345").unwrap();
        assert_eq!(read(&file, "read it", 5).unwrap(), b"12345");
        let kind = |path: &Path, limit| read(path, "read it", limit).unwrap_err().kind();
        assert_eq!(kind(&file, 4), Kind::TooLarge);
        assert_eq!(kind(&dir, 4), Kind::WrongType);
        assert_eq!(kind(&dir.join("b"), 4), Kind::Absent);
        #[cfg(unix)]
        assert_eq!(kind(Path::new("/dev/zero"), 4), Kind::WrongType);
        fs::remove_dir_all(&dir).unwrap();
    }
}
