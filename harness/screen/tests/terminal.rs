//! The terminal itself: whole again where the program breaks, and with every line kept for scrolling back. What a terminal makes of
//! what is written is told by emulators of other people's making (`vt100`, `tmux`).
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends where something is not as it should be")]
use nix::pty::{Winsize, openpty};
use plumeline_screen::Screen;
use ratatui::style::Style;
use std::{
    fs::File,
    io::Read,
    process::{Command, Stdio},
    time::{Duration, Instant},
};

const ROWS: u16 = 24;
const COLUMNS: u16 = 80;
/// More than a terminal shows at a time.
const LINES: u32 = 100;
const HOW: &str = "PLUMELINE_SCREEN_ENDS";

/// What is run at a terminal: lines above a panel; then it ends, or breaks.
#[test]
#[ignore = "helper of the others: it wants a terminal"]
fn helper_draws() {
    let how = std::env::var(HOW).unwrap();
    let mut screen = Screen::open(false);
    for n in 0..LINES {
        screen.print(&format!("line {n:03}"));
        screen.panel(|buffer| {
            for y in 0..buffer.area.height {
                buffer.set_string(0, y, format!("panel {y} at {n}"), Style::new());
            }
        });
    }
    assert_eq!(how, "ends", "it breaks");
    drop(screen);
    println!("it ended");
}
fn helper() -> Vec<String> {
    let own = std::env::current_exe().unwrap().display().to_string();
    [&own, "--exact", "helper_draws", "--ignored", "--nocapture", "--test-threads=1"].map(str::to_owned).into()
}

/// All that it writes to a terminal of its own.
fn written(how: &str) -> Vec<u8> {
    let size = Winsize { ws_row: ROWS, ws_col: COLUMNS, ws_xpixel: 0, ws_ypixel: 0 };
    let pair = openpty(Some(&size), None).unwrap();
    let (mut master, slave) = (File::from(pair.master), File::from(pair.slave));
    let mut command = Command::new(&helper()[0]);
    let stdio = || Stdio::from(slave.try_clone().unwrap());
    command
        .args(&helper()[1..])
        .env(HOW, how)
        .env("TERM", "xterm")
        .env("RUST_BACKTRACE", "0")
        .stdin(stdio())
        .stdout(stdio())
        .stderr(stdio());
    let mut child = command.spawn().unwrap();
    // Nobody but the child holds the other end: it is over when the child is.
    drop(command);
    drop(slave);
    let mut all = Vec::new();
    let mut some = [0; 4096];
    while let Ok(n @ 1..) = master.read(&mut some) {
        all.extend_from_slice(&some[..n]);
    }
    assert_eq!(child.wait().unwrap().success(), how == "ends");
    all
}

#[test]
fn a_program_that_breaks_leaves_the_terminal_whole() {
    for (how, last) in [("breaks", "it breaks"), ("ends", "it ended")] {
        let written = written(how);
        let mut terminal = vt100::Parser::new(ROWS.try_into().unwrap(), COLUMNS.try_into().unwrap(), 0);
        terminal.process(&written);
        let rows: Vec<String> = terminal.screen().rows(0, COLUMNS).collect();
        let text = String::from_utf8_lossy(&written);
        assert!(text.contains("panel 9 at 0"), "{how}: a panel stood");
        assert!(
            rows.iter().any(|r| r.contains(last)) && !rows.iter().any(|r| r.starts_with("panel ")),
            "{how}: {rows:#?}"
        );
        // The message stands below the lines, which are still there.
        let at = |words: &str| rows.iter().position(|r| r.contains(words));
        assert!(at("line 099").is_some_and(|line| at(last).is_some_and(|said| said > line)), "{how}: {rows:#?}");
        // All rows scroll again, without colours.
        terminal.process(b"\r\n".repeat(usize::from(ROWS)).as_slice());
        terminal.process(b"top\r\n");
        terminal.process(b"more\r\n".repeat(usize::from(ROWS) - 2).as_slice());
        assert_eq!(terminal.screen().rows(0, COLUMNS).next().as_deref(), Some("top"), "{how}");
        assert_eq!(terminal.screen().fgcolor(), vt100::Color::Default);
        assert!(!terminal.screen().hide_cursor() && !terminal.screen().alternate_screen());
    }
}

#[test]
#[ignore = "needs tmux: .ci/run runs it"]
fn a_terminal_keeps_every_line_for_scrolling_back() {
    for how in ["ends", "breaks"] {
        let server = format!("plumeline-{how}-{}", std::process::id());
        let tmux = |args: &[&str]| {
            let out = Command::new("tmux").args(["-L", &server, "-f", "/dev/null"]).args(args).output().unwrap();
            assert!(out.status.success(), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
            String::from_utf8(out.stdout).unwrap()
        };
        let own = helper().join("' '");
        let run = format!("RUST_BACKTRACE=0 {HOW}={how} '{own}'; echo over; sleep 600");
        let (columns, rows) = (COLUMNS.to_string(), ROWS.to_string());
        tmux(&["new-session", "-d", "-x", &columns, "-y", &rows, &run]);
        let began = Instant::now();
        let kept = loop {
            let kept = tmux(&["capture-pane", "-p", "-S", "-"]);
            if kept.lines().any(|l| l == "over") {
                break kept;
            }
            assert!(began.elapsed() < Duration::from_secs(60), "{kept}");
            std::thread::sleep(Duration::from_millis(50));
        };
        tmux(&["kill-server"]);
        let lines: Vec<&str> = kept.lines().filter(|l| l.starts_with("line ")).collect();
        let expected: Vec<String> = (0..LINES).map(|n| format!("line {n:03}")).collect();
        assert_eq!(lines, expected, "{how}: each line once, in its order");
        assert!(!kept.contains("panel "), "{how}: {kept}");
    }
}
