//! Unix: error numbers, locks, owners of ports, and pseudo-terminals.
use super::holder::holder;
use crate::Down;
use nix::{
    errno::Errno,
    fcntl::{FcntlArg, OFlag, fcntl},
    pty::openpty,
    sys::signal::{Signal, raise},
    sys::termios::{FlushArg, SetArg, cfmakeraw, tcflush, tcgetattr, tcsetattr},
    time::{ClockId, clock_gettime},
    unistd::{AccessFlags, Gid, Group, Uid, User, access, ttyname},
};
use plumeline_base::input::LinkDown;
use std::{
    fs::{File, Metadata, OpenOptions, TryLockError},
    io,
    os::{
        fd::OwnedFd,
        unix::fs::{FileTypeExt, MetadataExt, OpenOptionsExt, symlink},
    },
    path::{Path, PathBuf},
    pin::Pin,
    task::{Context, Poll},
    time::Duration,
};
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::unix::pipe,
};

/// Lines that were typed at the terminal of standard input and that nobody has read yet are thrown away.
pub(crate) fn forget_typed() {
    // Where it is no terminal there is nothing to forget.
    let _ = tcflush(io::stdin(), FlushArg::TCIFLUSH);
}

/// What a terminal sends at Ctrl-Z.
pub(crate) const STOP_SIGNAL: i32 = Signal::SIGTSTP as i32;
/// Unix terminals do.
pub(crate) const SCROLLS_REGIONS: bool = true;

/// Stops this process until it is told to go on.
pub(crate) fn stop_here() {
    // Nothing is lost where it can't: the job goes on.
    let _ = raise(Signal::SIGSTOP);
}

/// The cause that an error of an open line stands for: `ended` if it says that the line is gone.
pub(crate) fn ended_by(e: &io::Error, ended: LinkDown) -> LinkDown {
    match e.raw_os_error().map(Errno::from_raw) {
        Some(
            Errno::EIO
            | Errno::ENXIO
            | Errno::ENODEV
            | Errno::EPIPE
            | Errno::ECONNRESET
            | Errno::ECONNABORTED
            | Errno::ETIMEDOUT
            | Errno::ENOTCONN,
        ) => ended,
        None if e.kind() == io::ErrorKind::BrokenPipe => ended,
        _ => LinkDown::Other,
    }
}

/// The cause that an error of opening a port or a connection stands for.
pub(crate) fn refused_by(e: &io::Error) -> LinkDown {
    match e.raw_os_error().map(Errno::from_raw) {
        // A pseudo-terminal whose other end is gone gives EIO.
        Some(Errno::ENOENT | Errno::ENOTDIR | Errno::ENXIO | Errno::ENODEV | Errno::EIO | Errno::ELOOP) => {
            LinkDown::Absent
        }
        Some(Errno::EHOSTUNREACH | Errno::ENETUNREACH | Errno::EHOSTDOWN | Errno::ETIMEDOUT | Errno::EADDRNOTAVAIL) => {
            LinkDown::Absent
        }
        Some(Errno::EACCES | Errno::EPERM | Errno::EROFS) => LinkDown::Denied,
        Some(Errno::EBUSY | Errno::EWOULDBLOCK) => LinkDown::Busy,
        Some(Errno::ECONNREFUSED | Errno::ECONNRESET) => LinkDown::Closed,
        _ => LinkDown::Other,
    }
}

/// A port that is known to be openable now.
pub(crate) struct Held {
    // Open until the port itself is, so that its line states are not dropped and raised once more in between.
    _file: File,
}

/// Tells absent, denied and busy apart before the port is opened for good, which would not: the serial library
/// reports all three alike, and its failing open takes the other program's exclusive mark away.
pub(crate) fn probe(path: &str) -> Result<Held, Down> {
    let refused = |e: &io::Error| {
        let cause = refused_by(e);
        let mut down = Down::new(cause, format!("{path}: {e}"));
        if cause == LinkDown::Denied {
            down.hint = std::fs::metadata(path).ok().map(|m| right_to_open(&m));
        }
        down
    };
    let file = OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags((OFlag::O_NOCTTY | OFlag::O_NONBLOCK).bits())
        .open(path)
        .map_err(|e| refused(&e))?;
    if !file.metadata().map_err(|e| refused(&e))?.file_type().is_char_device() {
        return Err(Down::new(LinkDown::Other, format!("{path}: not a serial port")));
    }
    match file.try_lock() {
        // The library takes the lock itself.
        Ok(()) => file.unlock().map_err(|e| refused(&e))?,
        Err(TryLockError::WouldBlock) => {
            return Err(Down::new(LinkDown::Busy, format!("{path}: locked by another process")));
        }
        Err(TryLockError::Error(e)) => return Err(refused(&e)),
    }
    Ok(Held { _file: file })
}

fn right_to_open(m: &Metadata) -> String {
    let group = match Group::from_gid(Gid::from_raw(m.gid())) {
        Ok(Some(g)) => g.name,
        _ => m.gid().to_string(),
    };
    if m.mode() & 0o060 == 0o060 && m.gid() != 0 {
        format!("add your user to the group `{group}` (sudo usermod -aG {group} \"$USER\"), log out and in again")
    } else {
        "ask an administrator for the right to open it; for USB ports docs/udev has a rule that gives it".into()
    }
}

/// Who may open a port, in plain words, and what would keep this user from it now; without opening it.
pub(crate) fn look_at(path: &Path) -> (Option<String>, Option<Down>) {
    let shown = path.display();
    let m = match std::fs::metadata(path) {
        Ok(m) => m,
        Err(e) => return (None, Some(Down::new(refused_by(&e), format!("{shown}: {e}")))),
    };
    let user = User::from_uid(Uid::from_raw(m.uid())).ok().flatten().map_or(m.uid().to_string(), |u| u.name);
    let group = Group::from_gid(Gid::from_raw(m.gid())).ok().flatten().map_or(m.gid().to_string(), |g| g.name);
    let owner = format!("owner {user}, group {group}, mode {:03o}", m.mode() & 0o777);
    let hindrance = match access(path, AccessFlags::R_OK | AccessFlags::W_OK) {
        Err(e) => {
            let mut down = Down::new(refused_by(&e.into()), format!("{shown}: {}", e.desc()));
            down.hint = (down.cause == LinkDown::Denied).then(|| right_to_open(&m));
            Some(down)
        }
        Ok(()) => holder(&m).map(|who| Down::new(LinkDown::Busy, format!("{shown}: {who}"))),
    };
    (Some(owner), hindrance)
}

/// A clock that goes on while the computer sleeps.
pub(crate) fn clock_with_sleep() -> Option<Duration> {
    // On Linux the monotonic clock stands still then; elsewhere (macOS: clock_gettime(3)) it does not.
    #[cfg(target_os = "linux")]
    const CLOCK: ClockId = ClockId::CLOCK_BOOTTIME;
    #[cfg(not(target_os = "linux"))]
    const CLOCK: ClockId = ClockId::CLOCK_MONOTONIC;
    clock_gettime(CLOCK).ok().map(Duration::from)
}

/// The unit's end of a pseudo-terminal.
pub(crate) struct Pty {
    // Tokio's halves of a pipe do as well for any file that can be polled.
    from: pipe::Receiver,
    to: pipe::Sender,
    // Held open so that the line outlives those who come and go at the other end.
    _slave: OwnedFd,
    link: Option<PathBuf>,
    /// Where the other end opens it.
    pub(crate) path: PathBuf,
}

impl Pty {
    /// Opens a new one; `link` becomes a symbolic link to it.
    pub(crate) fn open(link: Option<&Path>) -> io::Result<Self> {
        let pair = openpty(None, None)?;
        // Raw from the start: until then what is sent would come back as an echo.
        let mut modes = tcgetattr(&pair.slave)?;
        cfmakeraw(&mut modes);
        tcsetattr(&pair.slave, SetArg::TCSANOW, &modes)?;
        fcntl(&pair.master, FcntlArg::F_SETFL(OFlag::O_RDWR | OFlag::O_NONBLOCK))?;
        let path = ttyname(&pair.slave)?;
        if let Some(link) = link {
            point(link, &path)?;
        }
        let to = pipe::Sender::from_owned_fd_unchecked(pair.master.try_clone()?)?;
        let from = pipe::Receiver::from_owned_fd_unchecked(pair.master)?;
        Ok(Self { from, to, _slave: pair.slave, link: link.map(Into::into), path })
    }
}

/// Makes or moves the symbolic link `link`, but replaces nothing else.
fn point(link: &Path, target: &Path) -> io::Result<()> {
    match std::fs::symlink_metadata(link) {
        Ok(m) if m.is_symlink() => std::fs::remove_file(link)?,
        Ok(_) => {
            let text = format!("{} is there already and is not a symbolic link", link.display());
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, text));
        }
        Err(_) => {}
    }
    symlink(target, link)
}

impl Drop for Pty {
    fn drop(&mut self) {
        if let Some(link) = &self.link
            && std::fs::read_link(link).is_ok_and(|target| target == self.path)
        {
            // Nothing can be done about a failure here; a dangling link reads as an absent port.
            let _ = std::fs::remove_file(link);
        }
    }
}

impl AsyncRead for Pty {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.from).poll_read(cx, buf)
    }
}
impl AsyncWrite for Pty {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.to).poll_write(cx, bytes)
    }
    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.to).poll_flush(cx)
    }
    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.to).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_error_number_has_its_cause() {
        let cases = [
            (Errno::ENOENT, LinkDown::Absent),
            (Errno::ENXIO, LinkDown::Absent),
            (Errno::EACCES, LinkDown::Denied),
            (Errno::EPERM, LinkDown::Denied),
            (Errno::EBUSY, LinkDown::Busy),
            (Errno::ECONNREFUSED, LinkDown::Closed),
            (Errno::EHOSTUNREACH, LinkDown::Absent),
            (Errno::EMFILE, LinkDown::Other),
        ];
        for (errno, cause) in cases {
            assert_eq!(refused_by(&io::Error::from(errno)), cause, "{errno}");
        }
        let ended = [
            (Errno::EIO, LinkDown::Unplugged),
            (Errno::ENODEV, LinkDown::Unplugged),
            (Errno::EPIPE, LinkDown::Unplugged),
            (Errno::EINVAL, LinkDown::Other),
        ];
        for (errno, cause) in ended {
            assert_eq!(ended_by(&io::Error::from(errno), LinkDown::Unplugged), cause, "{errno}");
        }
    }
}
