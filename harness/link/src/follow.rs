//! A file that another program is writing, followed as a line: what is appended from now on arrives, and nothing can be sent.
//!
//! What stood in the file before is of another time and is passed over. Not here: what a row means (the driver of lines).
use crate::{Down, Link, sys};
use plumeline_base::input::LinkDown;
use std::{
    fs::File,
    future::Future,
    io::{self, Read, Seek, SeekFrom},
    path::PathBuf,
    pin::Pin,
    task::{Context, Poll},
    time::Duration,
};
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    time::{Sleep, sleep},
};

/// The file is looked at this often: a row is noticed so much late at most.
const LOOKED: Duration = Duration::from_millis(50);

/// Opens a file at its end.
///
/// # Errors
/// [`Down`] with the cause: it is not there, may not be read, or is no file.
pub(crate) fn open(path: &str, named: String) -> Result<Link, Down> {
    let told = |e: io::Error| Down::new(sys::refused_by(&e), format!("{path}: {e}"));
    let mut file = File::open(path).map_err(told)?;
    // What is no file has no end to begin from: a pipe would block, a folder has no rows.
    if !file.metadata().map_err(told)?.is_file() {
        return Err(Down::new(LinkDown::Other, format!("{path}: this is no file that another program writes")));
    }
    let at = file.seek(SeekFrom::End(0)).map_err(told)?;
    let followed = Followed { file, path: path.into(), at, looks: Box::pin(sleep(Duration::ZERO)) };
    Ok(Link::over(followed, format!("{named} (from its end on)"), LinkDown::Closed))
}

/// A file and how far it was read.
struct Followed {
    file: File,
    path: PathBuf,
    at: u64,
    looks: Pin<Box<Sleep>>,
}

impl Followed {
    /// What was appended; nothing where there is nothing yet.
    fn appended(&mut self, into: &mut [u8]) -> io::Result<usize> {
        // By its name: a logger that begins a new file leaves the old one behind, open here and never written again.
        let now = std::fs::metadata(&self.path)?;
        if now.len() < self.at || !is_same(&now, &self.file.metadata()?) {
            return Err(io::Error::other("another file was begun in its place, or it was cut"));
        }
        let n = self.file.read(into)?;
        self.at += n as u64;
        Ok(n)
    }
}

/// Both are of one file.
#[cfg(unix)]
fn is_same(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}
/// Both are of one file, as far as the system tells: its length says the rest.
#[cfg(not(unix))]
fn is_same(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    a.created().ok() == b.created().ok()
}

impl AsyncRead for Followed {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        loop {
            std::task::ready!(this.looks.as_mut().poll(cx));
            let n = this.appended(buf.initialize_unfilled())?;
            if n > 0 {
                buf.advance(n);
                return Poll::Ready(Ok(()));
            }
            this.looks = Box::pin(sleep(LOOKED));
        }
    }
}
/// Nothing goes to whoever writes the file.
impl AsyncWrite for Followed {
    fn poll_write(self: Pin<&mut Self>, _: &mut Context<'_>, _: &[u8]) -> Poll<io::Result<usize>> {
        Poll::Ready(Err(io::Error::new(io::ErrorKind::Unsupported, "nothing can be sent to a file that is followed")))
    }
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
