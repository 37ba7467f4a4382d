//! A person at a real terminal: colour, progress with time left, Ctrl-C and a second Ctrl-C through the terminal itself.
use crate::{
    common::{Folder, exits, run, text, word_for},
    simulator::{SPEED, Simulator, job, without_bench},
};
use nix::pty::{Winsize, openpty};
use std::{
    fs::File,
    io::{Read, Write},
    process::{Child, Command, Stdio},
    sync::{Arc, Mutex},
    time::{Duration, Instant},
};

/// A program on a terminal of its own, which is its controlling terminal.
struct Terminal {
    child: Child,
    keys: File,
    shown: Arc<Mutex<String>>,
}
impl Terminal {
    fn start(args: &[&str], no_colour: bool) -> Self {
        let size = Winsize { ws_row: 40, ws_col: 120, ws_xpixel: 0, ws_ypixel: 0 };
        let pair = openpty(Some(&size), None).unwrap();
        let end = File::from(pair.slave);
        // From util-linux: a session of its own, with this terminal to control it.
        let mut command = Command::new("setsid");
        command.args(["--ctty", "--wait", env!("CARGO_BIN_EXE_plumeline")]).args(args).env("TERM", "xterm");
        command.env_remove("RUST_LOG").env_remove("NO_COLOR");
        if no_colour {
            command.env("NO_COLOR", "1");
        }
        let stdio = || Stdio::from(end.try_clone().unwrap());
        let child = command.stdin(stdio()).stdout(stdio()).stderr(stdio()).spawn().unwrap();
        let keys = File::from(pair.master);
        let shown = Arc::new(Mutex::new(String::new()));
        let (mut screen, all) = (keys.try_clone().unwrap(), shown.clone());
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            // The system reports an error when nobody has the other end any more.
            while let Ok(n) = screen.read(&mut buffer) {
                all.lock().unwrap().push_str(&String::from_utf8_lossy(&buffer[..n]));
            }
        });
        Self { child, keys, shown }
    }
    fn shown(&self) -> String {
        self.shown.lock().unwrap().clone()
    }
    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }
    /// Says yes to every question until this is shown. Gives how many were answered so far.
    fn yes_until(&mut self, words: &str, mut answered: usize) -> usize {
        let began = Instant::now();
        while !self.shown().contains(words) {
            assert!(began.elapsed() < Duration::from_secs(300), "no `{words}` in\n{}", self.shown());
            if self.child.try_wait().unwrap().is_some() {
                // What it said last may still be on its way.
                std::thread::sleep(Duration::from_millis(500));
                assert!(self.shown().contains(words), "ended before `{words}`\n{}", self.shown());
            }
            let shown = self.shown();
            let asked: Vec<(&str, &str)> = shown.split("? [").skip(1).filter_map(|q| q.split_once(']')).collect();
            for (id, question) in asked.iter().skip(answered) {
                let who = question.trim_start().starts_with("Who ");
                let answer = if who { "A. Name" } else { word_for(question).unwrap_or("yes") };
                // Sooner than this nobody has read it, and it is not taken.
                std::thread::sleep(Duration::from_millis(600));
                self.press(&format!("{id}: {answer}\n"));
            }
            answered = asked.len();
            std::thread::sleep(Duration::from_millis(20));
        }
        answered
    }
    fn exit(mut self) -> (Option<i32>, String) {
        let code = self.child.wait().unwrap().code();
        std::thread::sleep(Duration::from_millis(200));
        (code, self.shown())
    }
}

const GREEN: &str = "\x1b[32m";

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
fn signal(dir: &Folder, name: &str) {
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
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
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
            "closed" => terminal.press("\x03"),
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
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
    let (mut terminal, _) = person(&dir, &simulator);
    terminal.press("\x03\x03");
    let (code, shown) = terminal.exit();
    assert!(matches!(code, Some(2 | 6)), "{shown}");
    assert!(!journal(&dir).contains(r#""entry":"ended""#));
    exits(&run(&["check", text(&dir.join("job"))]), &[0]);
}
