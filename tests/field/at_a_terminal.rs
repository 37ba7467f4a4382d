//! A person at a real terminal: colour, progress with time left, Ctrl-C and a second Ctrl-C through the terminal itself.
use crate::{
    common::{Folder, exits, run, text},
    field::terminal::Terminal,
    simulator::{Simulator, job, without_bench},
};
use std::process::Command;
use std::time::Duration;

const GREEN: &str = "\x1b[32m";
/// How much faster than real time: a machine that stands still for three seconds lets no reading be missed for longer than a job bears.
const SPEED: &str = "12";

#[test]
fn a_terminal_gets_colour_and_the_time_left_unless_it_says_no() {
    let dir = Folder::new("terminal");
    let out = dir.join("job");
    let args = ["demo", "--small", "--force", "--out", text(&out)];
    let (code, shown) = Terminal::start(&args, false).exit();
    assert_eq!(code, Some(0), "{shown}");
    assert!(shown.contains(GREEN) && shown.contains(" s left"), "{shown}");
    let (code, shown) = Terminal::start(&args, true).exit();
    assert_eq!(code, Some(0), "{shown}");
    assert!(!shown.contains(GREEN) && !shown.contains("\x1b[3") && shown.contains("PASS"), "{shown}");
}

/// A person who has come as far as the outgoing unit.
fn person(dir: &Folder, simulator: &Simulator) -> (Terminal, usize) {
    // At the bench it is the replacement that answers; here the outgoing unit is still on the wall.
    without_bench(dir);
    let path = dir.join("job");
    let args = ["run", text(&path), "--port", &simulator.unit, "--speed", SPEED];
    let mut terminal = Terminal::start(&args, true);
    let answered = terminal.yes_until("settings captured whole", 0);
    (terminal, answered)
}
fn journal(dir: &Folder) -> String {
    std::fs::read_to_string(dir.join("job/journal.jsonl")).unwrap()
}

/// Tells the program behind the terminal's session to end.
pub(super) fn signal(dir: &Folder, name: &str) {
    let job = dir.join("job");
    let pattern = format!("run {}", text(&job));
    let found = Command::new("pgrep").args(["-f", &pattern]).output().unwrap();
    let found = String::from_utf8(found.stdout).unwrap();
    let own: Vec<&str> = found
        .lines()
        .filter(|pid| {
            let exe = std::fs::read_link(format!("/proc/{pid}/exe"));
            exe.is_ok_and(|exe| exe.ends_with("plumeline"))
        })
        .collect();
    let [pid] = own.as_slice() else { panic!("{own:?}") };
    assert!(Command::new("kill").args([name, pid]).status().unwrap().success());
}

/// Paused in each way, at several stages, then taken up again to the end: the verdict is the one of a job without a pause.
#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_job_is_paused_in_every_way_and_taken_up_again() {
    let dir = Folder::new("paused");
    job(&dir);
    let simulator = Simulator::start_at(SPEED, &dir, "", &["--tcp", "127.0.0.1:0"]);
    let (mut terminal, _) = person(&dir, &simulator);
    terminal.press("\x03");
    let path = dir.join("job");
    let args = ["run", text(&path), "--port", &simulator.unit, "--speed", SPEED];
    for next in ["-TERM", "-HUP", "closed", ""] {
        let (code, shown) = terminal.exit();
        assert_eq!(code, Some(6), "{next} {shown}");
        assert!(next.is_empty() || shown.contains("paused: ") || next == "closed" || next == "-HUP", "{shown}");
        assert!(!journal(&dir).contains(r#""entry":"ended""#));
        exits(&run(&["check", text(&path)]), &[0]);
        if next.is_empty() {
            break;
        }
        terminal = Terminal::start(&args, true);
        // Somewhere further on.
        let from = terminal.yes_until("? [", 0);
        assert_eq!(from, 0);
        std::thread::sleep(Duration::from_millis(700));
        match next {
            "closed" => terminal.close(),
            name => signal(&dir, name),
        }
    }
    assert!(journal(&dir).contains("paused: asked for by the operator"));
    assert!(journal(&dir).contains("paused: the system ends the program"));
    let operator = dir.join("operator.toml");
    std::fs::write(&operator, format!("format = 1\ncontrol = \"{}\"\n", simulator.control)).unwrap();
    let args = ["run", text(&path), "--port", &simulator.unit, "--operator", text(&operator), "--speed", SPEED];
    exits(&run(&args), &[0]);
    assert!(journal(&dir).contains(r#""entry":"ended""#));
    exits(&run(&["check", text(&path)]), &[0]);
}

#[test]
fn a_second_ctrl_c_leaves_at_once_and_the_job_can_be_taken_up() {
    let dir = Folder::new("ctrl-c-c");
    job(&dir);
    let simulator = Simulator::start_at(SPEED, &dir, "", &["--tcp", "127.0.0.1:0"]);
    let (mut terminal, _) = person(&dir, &simulator);
    terminal.press("\x03\x03");
    let (code, shown) = terminal.exit();
    assert!(matches!(code, Some(2 | 6)), "{shown}");
    assert!(!journal(&dir).contains(r#""entry":"ended""#));
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
}
