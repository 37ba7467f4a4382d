//! The live view at a terminal: what it shows at two sizes, and that the terminal is whole while and after it stands. What is shown is
//! read by a terminal emulator of other people's making (`vt100`).
use crate::{
    common::{Folder, text},
    field::{at_a_terminal::signal, terminal::Terminal},
    simulator::{Simulator, job, without_bench},
};
use std::time::Duration;

const SOON: Duration = Duration::from_secs(60);

/// What stands on the terminal, row by row.
fn rows(terminal: &Terminal, (height, width): (u16, u16)) -> Vec<String> {
    of(&terminal.shown(), (height, width))
}
fn of(shown: &str, (height, width): (u16, u16)) -> Vec<String> {
    let mut parser = vt100::Parser::new(height.try_into().unwrap(), width.try_into().unwrap(), 0);
    parser.process(shown.as_bytes());
    parser.screen().rows(0, width).collect()
}
/// The rows once they are so.
fn stands(terminal: &Terminal, size: (u16, u16), what: &str, is: impl Fn(&[String]) -> bool) -> Vec<String> {
    terminal.comes(what, SOON, || Some(rows(terminal, size)).filter(|rows| is(rows)))
}
fn begins(rows: &[String], with: &str) -> bool {
    rows.iter().any(|row| row.starts_with(with))
}
/// The panel stands at the bottom, above the typed line.
fn whole(rows: &[String]) -> bool {
    let [.., ty, typed] = rows else { return false };
    let parts = ["smoke  ", "found  ", "now    ", "line   ", "asked  "];
    typed.starts_with('>') && ty.starts_with("type   ") && parts.iter().all(|part| begins(rows, part))
}

#[test]
fn a_live_view_stands_below_the_lines_and_leaves_the_terminal_whole() {
    let dir = Folder::new("live");
    job(&dir);
    without_bench(&dir);
    let simulator = Simulator::start_at("12", &dir, "", &["--tcp", "127.0.0.1:0"]);
    let path = dir.join("job");
    let args = ["run", text(&path), "--port", &simulator.unit, "--speed", "12"];
    let small = (24, 80);
    let mut terminal = Terminal::sized(&args, true, small);
    let answered = terminal.yes_until("settings captured whole", 0);
    terminal.comes("a question more", SOON, || (terminal.shown().matches("? [").count() > answered).then_some(()));
    // Something else is asked; what is half typed stays in its place while lines and panel go on.
    stands(&terminal, small, "the panel with a question", |rows| whole(rows) && begins(rows, "asked  ["));
    terminal.press("zzz");
    let before = stands(&terminal, small, "the half typed line", |rows| rows[23] == "> zzz");
    std::thread::sleep(Duration::from_secs(2));
    let after = rows(&terminal, small);
    assert!(whole(&after) && after[23] == "> zzz", "{after:#?}");
    assert_ne!(before[13], after[13], "the clock of the head goes on");
    // The line is edited by the terminal: two are taken back.
    terminal.press("\x7f\x7f");
    stands(&terminal, small, "the edited line", |rows| rows[23].trim_end() == "> z");
    terminal.press("\n");
    let taken = stands(&terminal, small, "the typed line among the others", |rows| rows[23].trim_end() == ">");
    assert!(whole(&taken));
    terminal.comes("what was typed", SOON, || terminal.shown().contains("> z").then_some(()));

    // Stopped, the terminal is as it was; told to go on, the panel stands again.
    terminal.press("\x1a");
    stands(&terminal, small, "no panel", |rows| !begins(rows, "asked  ") && !begins(rows, ">"));
    assert!(terminal.shown().rfind("\x1b[r") > terminal.shown().rfind("\x1b[1;"), "all rows scroll again");
    signal(&dir, "-CONT");
    stands(&terminal, small, "the panel again", whole);

    // Another size; then one that holds no panel; then the first again.
    let from = terminal.shown().len();
    terminal.resize((40, 120));
    let large = terminal.comes("the panel at the new size", SOON, || {
        Some(of(terminal.shown().get(from..)?, (40, 120))).filter(|rows| whole(rows))
    });
    assert!(large[22].contains("next: ") && large[22].trim_end().chars().count() > 80, "{large:#?}");
    terminal.resize((10, 30));
    std::thread::sleep(Duration::from_secs(2));
    let from = terminal.shown().len();
    terminal.resize(small);
    terminal
        .comes("the panel again", SOON, || Some(of(terminal.shown().get(from..)?, small)).filter(|rows| whole(rows)));

    terminal.press("\x03");
    let (code, shown) = terminal.ended();
    assert_eq!(code, Some(6), "{shown}");
    assert!(shown.rfind("\x1b[r") > shown.rfind("\x1b[1;"), "all rows scroll again");
    let last = of(shown.get(from..).unwrap_or_default(), small);
    assert!(!begins(&last, "asked  ") && last.concat().contains("paused"), "{last:#?}");
}

#[test]
fn plain_lines_where_they_are_wanted_and_where_no_view_can_stand() {
    let dir = Folder::new("live-plain");
    job(&dir);
    let simulator = Simulator::start_at("12", &dir, "", &["--tcp", "127.0.0.1:0"]);
    let path = dir.join("job");
    let args = ["run", text(&path), "--port", &simulator.unit, "--speed", "12"];
    for (more, size) in [(&["--plain"][..], (24, 80)), (&["-v"], (24, 80)), (&[], (12, 80)), (&[], (24, 30))] {
        let mut terminal = Terminal::sized(&[&args[..], more].concat(), true, size);
        terminal.comes("a question", SOON, || terminal.shown().contains("? [").then_some(()));
        terminal.press("\x03");
        let (_, shown) = terminal.ended();
        assert!(!shown.contains("\x1b[1;") && !shown.contains("asked  ["), "{more:?} {size:?} {shown}");
    }
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn a_whole_job_is_shown_live_at_two_sizes() {
    std::thread::scope(|s| {
        for size in [(24, 80), (40, 120)] {
            s.spawn(move || a_whole_job_is_shown(size));
        }
    });
}
fn a_whole_job_is_shown(size: (u16, u16)) {
    let dir = Folder::new(&format!("live-{}", size.0));
    let out = dir.join("job");
    let args = ["demo", "--small", "--over", "pty", "--speed", "15", "--out", text(&out)];
    let mut terminal = Terminal::sized(&args, true, size);
    let (mut flow, mut smoke, mut out_of_service, mut seen) = (false, false, false, 0);
    while !terminal.has_ended() {
        let rows = rows(&terminal, size);
        flow |= rows.iter().any(|r| r.contains("L/min, predicted") && r.contains("within"));
        smoke |= rows.iter().any(|r| r.contains("released at 1.") && r.contains("half predicted at"));
        out_of_service |= rows.iter().any(|r| r.contains("next: ") && r.contains("out of service 0:"));
        seen += usize::from(begins(&rows, "found  ") && begins(&rows, "line   unit: open"));
        std::thread::sleep(Duration::from_millis(300));
    }
    let (code, shown) = terminal.exit();
    assert_eq!(code, Some(0), "{shown}");
    assert!(flow && smoke && out_of_service && seen > 20, "{flow} {smoke} {out_of_service} {seen}");
    let last = of(&shown, size);
    assert!(!begins(&last, "found  ") && last.concat().contains("verdict pass"), "{last:#?}");
    assert!(shown.rfind("\x1b[r") > shown.rfind("\x1b[1;"), "all rows scroll again");
}
