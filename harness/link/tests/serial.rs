//! Serial links, on real pseudo-terminals.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // A test fails by panicking.
mod common;
use common::*;
use plumeline_base::input::LinkDown;
use plumeline_link::{
    Down, Link, LinkEvent, LinkSpec,
    ports::Root,
    serve::{Server, ServerEvent},
};
use std::{
    fs::{self, File, Permissions},
    os::unix::{fs::PermissionsExt, process::CommandExt},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::Duration,
};

async fn open(address: &str) -> Result<Link, Down> {
    let LinkSpec::Line(line) = LinkSpec::parse(address).unwrap() else { panic!("{address}") };
    soon(plumeline_link::open(&line, &Root::system())).await
}
fn path_of(server: &Server) -> PathBuf {
    server.address().trim_start_matches("serial:").into()
}
fn scratch(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    let _ = fs::remove_file(&path);
    path
}

#[tokio::test]
async fn bytes_go_both_ways_unchanged() {
    let mut server = Server::pty(None).unwrap();
    let mut link = open(&format!("{}@9600", server.address())).await.unwrap();
    assert_eq!(link.described(), format!("{}@9600 (no DTR here, no RTS here)", server.address()));
    // Every value: a terminal that is not raw would change some of them.
    let sent: Vec<u8> = (0..=255).cycle().take(3000).collect();
    for piece in sent.chunks(100) {
        link.send(piece);
    }
    let received = tokio::select! {
        received = receive(&mut link, sent.len()) => received,
        down = echo(&mut server) => panic!("{down}"),
    };
    assert_eq!(received, sent);
}

#[tokio::test]
async fn what_was_left_from_before_is_not_heard() {
    let mut server = Server::pty(None).unwrap();
    server.send(b"stale");
    let _ = tokio::time::timeout(Duration::from_millis(50), server.next()).await;
    let mut link = open(server.address()).await.unwrap();
    server.send(b"fresh");
    let heard = tokio::select! {
        heard = receive(&mut link, 5) => heard,
        event = server.next() => panic!("{event:?}"),
    };
    assert_eq!(heard, b"fresh");
}

#[tokio::test]
async fn the_other_end_going_away_is_an_unplugged_cable() {
    let server = Server::pty(None).unwrap();
    let mut link = open(server.address()).await.unwrap();
    let address = server.address().to_owned();
    drop(server);
    let down = end(&mut link).await;
    assert_eq!(down.cause, LinkDown::Unplugged, "{down}");
    assert_eq!(open(&address).await.err().unwrap().cause, LinkDown::Absent);
}

#[tokio::test]
async fn the_other_end_going_away_while_bytes_wait_is_told_as_well() {
    let server = Server::pty(None).unwrap();
    let mut link = open(server.address()).await.unwrap();
    drop(server);
    link.send(&[0; 2000]);
    assert!(!link.drain(Duration::from_secs(5)).await);
    assert_eq!(end(&mut link).await.cause, LinkDown::Unplugged);
}

#[tokio::test]
async fn a_port_that_takes_nothing_ends_the_link_and_hangs_nothing() {
    let server = Server::pty(None).unwrap();
    let mut link = open(server.address()).await.unwrap();
    let down = loop {
        link.send(&[0; 4096]);
        match tokio::time::timeout(Duration::from_millis(1), link.next()).await {
            Err(_) => {}
            Ok(Some(LinkEvent::Down(down))) => break down,
            Ok(other) => panic!("{other:?}"),
        }
    };
    assert_eq!(down.cause, LinkDown::Other);
    assert!(down.detail.contains("takes no bytes"), "{down}");
}

#[tokio::test]
async fn a_simulator_that_nobody_listens_to_goes_on() {
    let mut server = Server::pty(None).unwrap();
    for _ in 0..100 {
        server.send(&[0; 1000]);
        let _ = tokio::time::timeout(Duration::from_millis(1), server.next()).await;
    }
    assert!(server.discarded() > 50_000, "{}", server.discarded());
    let mut link = open(server.address()).await.unwrap();
    link.send(b"hello");
    assert!(link.drain(Duration::from_secs(5)).await);
    assert_eq!(soon(server.next()).await, Ok(ServerEvent::Received(b"hello".to_vec())));
}

#[tokio::test]
async fn absent_busy_and_not_a_port_are_told_apart() {
    let down = open("serial:/dev/no-such-port").await.err().unwrap();
    assert_eq!(down.cause, LinkDown::Absent, "{down}");
    assert!(down.detail.contains("/dev/no-such-port"), "{down}");
    assert!(down.remedy().contains("name of the port"), "{}", down.remedy());

    let mut server = Server::pty(None).unwrap();
    let mut link = open(server.address()).await.unwrap();
    for _ in 0..3 {
        let down = open(server.address()).await.err().unwrap();
        assert_eq!(down.cause, LinkDown::Busy, "{down}");
        assert!(down.remedy().contains("close the other program"), "{}", down.remedy());
    }
    link.send(b"still here");
    assert!(link.drain(Duration::from_secs(5)).await);
    assert_eq!(soon(server.next()).await, Ok(ServerEvent::Received(b"still here".to_vec())));
    drop(link);
    open(server.address()).await.expect("free again");

    // Locked by a program that is not ours.
    let other = File::options().read(true).write(true).open(path_of(&server)).unwrap();
    other.lock().unwrap();
    assert_eq!(open(server.address()).await.err().unwrap().cause, LinkDown::Busy);
    drop(other);

    let file = scratch("not-a-port");
    fs::write(&file, "text").unwrap();
    let down = open(&format!("serial:{}", file.display())).await.err().unwrap();
    assert_eq!(down.cause, LinkDown::Other);
    assert!(down.detail.contains("not a serial port"), "{down}");
    let down = open(&format!("serial:{}", file.parent().unwrap().display())).await.err().unwrap();
    assert_eq!(down.cause, LinkDown::Other, "{down}");
}

#[tokio::test]
async fn a_stable_link_moves_with_the_port_and_replaces_nothing_else() {
    let name = scratch("stable-port");
    let first = Server::pty(Some(&name)).unwrap();
    let old = fs::read_link(&name).unwrap();
    assert_eq!(first.address(), format!("serial:{}", name.display()));
    open(first.address()).await.unwrap();
    let second = Server::pty(Some(&name)).unwrap();
    let new = fs::read_link(&name).unwrap();
    assert_ne!(old, new);
    drop(first);
    assert_eq!(fs::read_link(&name).unwrap(), new, "whoever moved it keeps it");
    drop(second);
    assert!(fs::symlink_metadata(&name).is_err());

    fs::write(&name, "precious").unwrap();
    let down = Server::pty(Some(&name)).err().unwrap();
    assert!(down.detail.contains("not a symbolic link"), "{down}");
    assert_eq!(fs::read(&name).unwrap(), b"precious");
}

/// Runs one of the helpers below in a process of its own.
fn helper(program: &Path, name: &str, argument: &Path) -> Command {
    let mut command = Command::new(program);
    command.args(["--exact", name, "--ignored", "--nocapture"]).env("PLUMELINE_TEST_PORT", argument);
    command
}
fn argument() -> PathBuf {
    std::env::var_os("PLUMELINE_TEST_PORT").unwrap().into()
}
struct Killed(Child);
impl Drop for Killed {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[tokio::test]
#[ignore = "helper of the next test: serves until it is killed"]
async fn helper_serves() {
    echo(&mut Server::pty(Some(&argument())).unwrap()).await;
}

#[tokio::test]
async fn a_killed_process_behind_the_port_is_an_unplugged_cable() {
    let name = scratch("killed-port");
    let address = format!("serial:{}", name.display());
    let program = std::env::current_exe().unwrap();
    for round in 0..3 {
        let mut process = Killed(helper(&program, "helper_serves", &name).stdout(Stdio::null()).spawn().unwrap());
        // The link of the last round dangles until the new process moves it.
        let mut link = soon(async {
            loop {
                match open(&address).await {
                    Ok(link) => break link,
                    Err(down) => assert_eq!(down.cause, LinkDown::Absent, "{down}"),
                }
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        })
        .await;
        link.send(b"are you there?");
        assert_eq!(receive(&mut link, 14).await, b"are you there?", "round {round}");
        process.0.kill().unwrap();
        process.0.wait().unwrap();
        assert_eq!(end(&mut link).await.cause, LinkDown::Unplugged);
        assert_eq!(open(&address).await.err().unwrap().cause, LinkDown::Absent);
    }
}

#[tokio::test]
#[ignore = "helper of the next test: says how opening fails"]
async fn helper_opens() {
    let address = format!("serial:{}", argument().display());
    match open(&address).await {
        Ok(_) => println!("\nOUTCOME open"),
        Err(down) => println!("\nOUTCOME {down}; {}", down.remedy()),
    }
}

/// What opening comes to for a user without privileges. Root may open anything, so root tries as somebody else.
fn outcome_for_an_ordinary_user(port: &Path) -> String {
    let mut program = std::env::current_exe().unwrap();
    let root = nix::unistd::geteuid().is_root();
    if root {
        // Others may not be let into the folder that this runs from.
        let copy = std::env::temp_dir().join(format!("plumeline-test-{}", std::process::id()));
        fs::copy(program, &copy).unwrap();
        program = copy;
    }
    let mut command = helper(&program, "helper_opens", port);
    if root {
        command.uid(65_534).gid(65_534).current_dir("/");
    }
    let output = command.output().unwrap();
    if root {
        fs::remove_file(program).unwrap();
    }
    let said = String::from_utf8_lossy(&output.stdout);
    let outcome = said.lines().find_map(|l| l.strip_prefix("OUTCOME "));
    let outcome = outcome.unwrap_or_else(|| panic!("{said}{}", String::from_utf8_lossy(&output.stderr)));
    outcome.replace(port.to_str().unwrap(), "PORT")
}

/// The words a user gets, with real devices of the system.
#[tokio::test]
async fn absent_busy_and_denied_in_words() {
    insta::assert_snapshot!(
        outcome_for_an_ordinary_user(Path::new("/dev/no-such-port")),
        @"the port is not there: PORT: No such file or directory (os error 2); check the cable and the name of the port, then try again"
    );
    let server = Server::pty(None).unwrap();
    let port = path_of(&server);
    fs::set_permissions(&port, Permissions::from_mode(0o000)).unwrap();
    insta::assert_snapshot!(outcome_for_an_ordinary_user(&port), @"no permission to open the port: PORT: Permission denied (os error 13); ask an administrator for the right to open it; for USB ports docs/udev has a rule that gives it");

    // A group can be given away by root only.
    fs::set_permissions(&port, Permissions::from_mode(0o660)).unwrap();
    if nix::unistd::geteuid().is_root() {
        let group = nix::unistd::Group::from_name("dialout").unwrap().expect("a group that may open ports");
        nix::unistd::chown(&port, None, Some(group.gid)).unwrap();
        insta::assert_snapshot!(outcome_for_an_ordinary_user(&port), @r#"no permission to open the port: PORT: Permission denied (os error 13); add your user to the group `dialout` (sudo usermod -aG dialout "$USER"), log out and in again"#);
    }

    fs::set_permissions(&port, Permissions::from_mode(0o666)).unwrap();
    assert_eq!(outcome_for_an_ordinary_user(&port), "open");
    let locked = File::options().read(true).write(true).open(&port).unwrap();
    locked.lock().unwrap();
    insta::assert_snapshot!(outcome_for_an_ordinary_user(&port), @"the port is in use by another program: PORT: locked by another process; close the other program that uses the port");
    drop(locked);
    // Exclusive to us (TIOCEXCL), so that even opening it for a look fails.
    let _link = open(server.address()).await.unwrap();
    insta::assert_snapshot!(outcome_for_an_ordinary_user(&port), @"the port is in use by another program: PORT: Device or resource busy (os error 16); close the other program that uses the port");
}
