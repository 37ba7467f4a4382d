//! A port that is not there, in use, or not for this user: what the technician reads, with real devices of the system.
use crate::{
    common::{Folder, plumeline, stdout, text},
    simulator::job,
};
use nix::{pty::openpty, unistd};
use std::{
    fs::{self, File, Permissions},
    os::unix::{
        fs::{PermissionsExt, chown},
        process::CommandExt,
    },
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

/// Somebody without rights of their own (nobody and nogroup on the common systems).
const NOBODY: u32 = 65_534;

/// What is said of the link when this port is given. Root may open anything, so root tries as somebody else.
fn said_of(port: &Path) -> String {
    let dir = Folder::new("refused");
    job(&dir);
    let job = dir.join("job");
    let mut command = plumeline(&[]);
    if unistd::geteuid().is_root() {
        // Others may not be let into the folder that the binary is built in.
        let copy = dir.join("plumeline");
        fs::copy(env!("CARGO_BIN_EXE_plumeline"), &copy).unwrap();
        for path in fs::read_dir(&job).unwrap().map(|e| e.unwrap().path()).chain([job.clone()]) {
            chown(path, Some(NOBODY), Some(NOBODY)).unwrap();
        }
        command = Command::new(copy);
        command.env("NO_COLOR", "1").uid(NOBODY).gid(NOBODY).current_dir("/");
    }
    let spec = format!("serial:{}", port.display());
    // Nobody answers: the job pauses after the link was tried.
    let o = command.args(["run", text(&job), "--port", &spec]).stdin(Stdio::null()).output().unwrap();
    let code = o.status.code();
    assert_eq!(code, Some(6), "{code:?}\n{}\n{}", stdout(&o), String::from_utf8_lossy(&o.stderr));
    let said = stdout(&o);
    let mut lines = said.lines().skip_while(|l| !l.starts_with("    link"));
    let both: Vec<&str> = lines.by_ref().take(2).map(str::trim).collect();
    both.join("\n").replace(port.to_str().unwrap(), "PORT")
}

struct Pty {
    _near: File,
    path: PathBuf,
}
fn pty() -> Pty {
    let pair = openpty(None, None).unwrap();
    let path = unistd::ttyname(&pair.slave).unwrap();
    Pty { _near: File::from(pair.master), path }
}
fn mode(path: &Path, mode: u32) {
    fs::set_permissions(path, Permissions::from_mode(mode)).unwrap();
}

#[test]
fn a_port_that_is_not_there() {
    insta::assert_snapshot!("port absent", said_of(Path::new("/dev/tty-of-nothing")));
}

#[test]
fn a_port_in_use() {
    let pty = pty();
    mode(&pty.path, 0o666);
    let other = File::options().read(true).write(true).open(&pty.path).unwrap();
    other.lock().unwrap();
    insta::assert_snapshot!("port busy", said_of(&pty.path));
}

#[test]
fn a_port_that_is_not_for_this_user() {
    let pty = pty();
    mode(&pty.path, 0o600);
    if unistd::geteuid().is_root() {
        // Owned by root, who is somebody else than the one who tries.
        chown(&pty.path, Some(0), Some(0)).unwrap();
    } else {
        mode(&pty.path, 0o000);
    }
    insta::assert_snapshot!("port denied", said_of(&pty.path));
    // A group can be given away by root alone; without root this part is not shown.
    if !unistd::geteuid().is_root() {
        eprintln!("NOT SHOWN: the group that owns a port is named (needs root)");
        return;
    }
    let group = unistd::Group::from_name("dialout").unwrap().expect("a group that may open ports");
    chown(&pty.path, Some(0), Some(group.gid.as_raw())).unwrap();
    mode(&pty.path, 0o660);
    insta::assert_snapshot!("port denied to others than its group", said_of(&pty.path));
}
