//! A program on a terminal of its own, for tests: keys go in, what is shown comes out, and the terminal can go away.
use crate::common::word_for;
use nix::{
    fcntl::{FcntlArg, FdFlag, fcntl},
    poll::{PollFd, PollFlags, PollTimeout, poll},
    pty::{Winsize, openpty},
};
use std::{
    fs::File,
    io::{Read, Write},
    os::fd::AsFd,
    process::{Child, Command, Stdio},
    sync::{
        Arc, Mutex,
        atomic::{AtomicBool, Ordering},
    },
    time::{Duration, Instant},
};

/// How long a program may take to end, on a machine that others load.
const ENDS: Duration = Duration::from_secs(120);

/// A program on a terminal of its own, which is its controlling terminal.
pub(crate) struct Terminal {
    child: Child,
    name: std::path::PathBuf,
    keys: Option<File>,
    shown: Arc<Mutex<String>>,
    gone: Arc<AtomicBool>,
}
impl Terminal {
    pub(crate) fn start(args: &[&str], no_colour: bool) -> Self {
        Self::sized(args, no_colour, (40, 120))
    }
    pub(crate) fn sized(args: &[&str], no_colour: bool, (ws_row, ws_col): (u16, u16)) -> Self {
        let size = Winsize { ws_row, ws_col, ws_xpixel: 0, ws_ypixel: 0 };
        let pair = openpty(Some(&size), None).unwrap();
        let name = nix::unistd::ttyname(&pair.slave).unwrap();
        // No program may hold the other end of its own line, or of another's: it would never hang up.
        for end in [&pair.master, &pair.slave] {
            fcntl(end, FcntlArg::F_SETFD(FdFlag::FD_CLOEXEC)).unwrap();
        }
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
        let gone = Arc::new(AtomicBool::new(false));
        let closed = gone.clone();
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            let mut rest = Vec::new();
            while !closed.load(Ordering::Relaxed) {
                let mut ready = [PollFd::new(screen.as_fd(), PollFlags::POLLIN)];
                if poll(&mut ready, PollTimeout::from(50u8)) == Ok(0) {
                    continue;
                }
                // The system reports an error when nobody has the other end any more.
                let Ok(n) = screen.read(&mut buffer) else { return };
                // A character may come in two pieces.
                rest.extend_from_slice(&buffer[..n]);
                let whole = std::str::from_utf8(&rest).map_or_else(|e| e.valid_up_to(), str::len);
                all.lock().unwrap().push_str(&String::from_utf8_lossy(&rest[..whole]));
                rest.drain(..whole);
            }
        });
        Self { child, name, keys: Some(keys), shown, gone }
    }
    pub(crate) fn shown(&self) -> String {
        self.shown.lock().unwrap().clone()
    }
    /// What was shown last, without colours and moves: for messages.
    pub(crate) fn screen(&self) -> String {
        let shown = self.shown();
        let plain = shown.split('\x1b').enumerate().map(|(i, part)| match (i, part.strip_prefix('[')) {
            (1.., Some(rest)) => {
                rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';').get(1..).unwrap_or_default()
            }
            _ => part,
        });
        let lines: Vec<String> = plain.collect::<String>().split(['\r', '\n']).map(str::to_owned).collect();
        let last: Vec<&str> = lines.iter().map(|l| l.trim_end()).filter(|l| !l.is_empty()).collect();
        last[last.len().saturating_sub(60)..].join("\n")
    }
    /// Waits until this gives something, or says what stood on the screen instead.
    pub(crate) fn comes<T>(&self, what: &str, within: Duration, get: impl Fn() -> Option<T>) -> T {
        let began = Instant::now();
        loop {
            if let Some(got) = get() {
                return got;
            }
            assert!(began.elapsed() < within, "not within {within:?}: {what}\n{}", self.screen());
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    pub(crate) fn press(&mut self, keys: &str) {
        self.keys.as_mut().unwrap().write_all(keys.as_bytes()).unwrap();
    }
    /// The window gets another size.
    pub(crate) fn resize(&self, (rows, columns): (u16, u16)) {
        let (rows, columns) = (rows.to_string(), columns.to_string());
        let mut stty = Command::new("stty");
        stty.arg("-F").arg(&self.name).args(["rows", &rows, "columns", &columns]);
        assert!(stty.status().unwrap().success());
    }
    /// The window is closed: nobody has the other end of the line any more, and the system hangs up.
    pub(crate) fn close(&mut self) {
        self.gone.store(true, Ordering::Relaxed);
        self.keys = None;
    }
    pub(crate) fn has_ended(&mut self) -> bool {
        self.child.try_wait().unwrap().is_some()
    }
    /// Says yes to every question until this is shown. Gives how many were answered so far.
    pub(crate) fn yes_until(&mut self, words: &str, mut answered: usize) -> usize {
        let began = Instant::now();
        while !self.shown().contains(words) {
            assert!(began.elapsed() < Duration::from_secs(300), "no `{words}` in\n{}", self.screen());
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
    pub(crate) fn exit(mut self) -> (Option<i32>, String) {
        self.ended()
    }
    /// Waits for the program's end, which is a matter of moments; gives its exit code and all that was shown.
    pub(crate) fn ended(&mut self) -> (Option<i32>, String) {
        let began = Instant::now();
        let code = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            assert!(began.elapsed() < ENDS, "the program does not end\n{}", self.screen());
            std::thread::sleep(Duration::from_millis(20));
        };
        std::thread::sleep(Duration::from_millis(200));
        (code, self.shown())
    }
}
