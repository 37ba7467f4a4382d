//! The command line as people expect it: help with examples, completions, manual, `--quiet`, colour, ports.
use crate::common::{Folder, exits, plumeline, run, stderr, stdout, text};
#[cfg(target_os = "linux")]
use clap::CommandFactory;
use plumeline::args::Cli;
use std::process::Stdio;

#[test]
fn what_protects_a_page_is_told_with_it() {
    let clean = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-traces/clean");
    let no_certificate = format!("--page-tls={clean}/plan.toml");
    for (args, cause, remedy) in [
        (&["run", clean, "--page-tls"][..], "none is served", "add --page"),
        (&["demo", "--page-tls=x.pem"], "none is served", "add --page"),
        (
            &["run", clean, "--page", "--page-tls", "--page-key", "x.key"],
            "no certificate is named",
            "--page-tls=CERT --page-key KEY",
        ),
        (&["run", clean, "--page", "--page-key", "x.key"], "--page-tls", ""),
        (&["watch", clean, "--page=127.0.0.1:0", "--page-tls=none.pem"], "none.pem can't be read", "check the path"),
        (&["watch", clean, "--page=127.0.0.1:0", &no_certificate], "plan.toml holds no certificate", "in PEM"),
    ] {
        let o = run(args);
        exits(&o, &[3]);
        let said = stderr(&o);
        assert!(said.contains(cause) && said.contains(remedy), "{args:?}: {said}");
    }
}

fn commands() -> Vec<clap::Command> {
    Cli::command().get_subcommands().filter(|c| c.get_name() != "help").cloned().collect()
}

#[test]
fn every_command_has_help_with_an_example_of_itself() {
    for command in commands() {
        let name = command.get_name();
        let o = run(&[name, "--help"]);
        exits(&o, &[0]);
        let said = stdout(&o);
        let example = said.split("Examples:").nth(1).unwrap_or_else(|| panic!("{name}: no examples\n{said}"));
        assert!(example.contains(&format!("plumeline {name}")), "{name}:\n{example}");
        // What is shown as an example must be understood, as far as a shell would take it apart at blanks and quotes.
        for line in example.lines().filter_map(|l| l.trim().strip_prefix("plumeline ")) {
            let words = words(line.split(['>', '|', '#']).next().unwrap());
            let all = std::iter::once("plumeline".to_owned()).chain(words);
            Cli::command().try_get_matches_from(all).unwrap_or_else(|e| panic!("{line}: {e}"));
        }
    }
}
/// A line as a shell takes it apart.
fn words(line: &str) -> Vec<String> {
    let quoted = line.split('"').enumerate();
    quoted
        .flat_map(|(i, part)| match i % 2 {
            0 => part.split_whitespace().map(str::to_owned).collect(),
            _ => vec![part.to_owned()],
        })
        .collect()
}

#[test]
fn completions_know_every_command() {
    for (shell, check) in
        [("bash", Some("bash")), ("zsh", None), ("fish", None), ("powershell", None), ("elvish", None)]
    {
        let o = run(&["completions", shell]);
        exits(&o, &[0]);
        let script = stdout(&o);
        for command in commands() {
            assert!(script.contains(command.get_name()), "{shell}: {}", command.get_name());
        }
        // The shell itself reads it, where it is there on every system.
        if let Some(shell) = check {
            use std::io::Write;
            let mut c = std::process::Command::new(shell).arg("-n").stdin(Stdio::piped()).spawn().unwrap();
            c.stdin.take().unwrap().write_all(script.as_bytes()).unwrap();
            assert!(c.wait().unwrap().success());
        }
    }
    exits(&run(&["completions", "sh-of-nobody"]), &[3]);
}

#[test]
fn the_manual_has_a_page_for_every_command() {
    let dir = Folder::new("man");
    let o = run(&["man"]);
    exits(&o, &[0]);
    let page = stdout(&o);
    for part in [".TH plumeline 1", "SYNOPSIS", "Exit codes:", "replaces no code, listing or licence"] {
        assert!(page.contains(part), "{part}");
    }
    exits(&run(&["man", text(dir.path()), "--quiet"]), &[0]);
    for command in commands() {
        let name = command.get_name();
        let page = std::fs::read_to_string(dir.join(&format!("plumeline-{name}.1"))).unwrap();
        // A hyphen is written `\\-` in a manual page.
        let words = page.replace("\\-", "-");
        assert!(page.contains("Examples:") && words.contains(&format!("plumeline {name}")), "{name}");
        assert!(page.contains(&format!("plumeline\\-{name}.1")) || page.starts_with(".ie"), "{name}");
    }
}

#[test]
fn quiet_leaves_the_result_alone() {
    let dir = Folder::new("quiet");
    let out = dir.join("job");
    let o = run(&["demo", "--small", "--quiet", "--out", text(&out)]);
    exits(&o, &[0]);
    let said = stdout(&o);
    assert!(said.contains("PASS") && said.contains("report:") && !said.contains("0:00:"), "{said}");
    for (command, result) in [
        ("check", "everything holds, and all of it is sealed"),
        ("replay", "verdict: pass, everything that the plan asks for was shown"),
    ] {
        let o = run(&["-q", command, text(&out)]);
        exits(&o, &[0]);
        assert_eq!(stdout(&o).trim_end(), result);
        assert!(stdout(&run(&[command, text(&out)])).lines().count() > 1, "{command}");
    }
    let o = run(&["new", text(&dir.join("new")), "-q"]);
    exits(&o, &[0]);
    assert_eq!(stdout(&o), "");
    let o = run(&["predict", text(&out.join("pipework.toml")), "--json", "-q"]);
    exits(&o, &[0]);
    serde_json::from_str::<serde_json::Value>(&stdout(&o)).unwrap();
    // What is wrong is said all the same.
    let o = run(&["-q", "check", text(&dir.join("nowhere"))]);
    exits(&o, &[3]);
    assert!(stderr(&o).contains("not a job folder"), "{}", stderr(&o));
}

#[test]
fn what_is_piped_has_no_colour() {
    let dir = Folder::new("colour");
    let mut c = plumeline(&["demo", "--small", "-v", "--out", text(&dir.join("job"))]);
    let o = c.env_remove("NO_COLOR").output().unwrap();
    exits(&o, &[0]);
    assert!(!stdout(&o).contains('\x1b') && !stderr(&o).contains('\x1b'));
    let o = plumeline(&["run", text(&dir.join("nowhere")), "--port", "sim:"]).env_remove("NO_COLOR").output().unwrap();
    exits(&o, &[3]);
    assert!(!stderr(&o).contains('\x1b'), "{}", stderr(&o));
}

#[cfg(target_os = "linux")]
#[test]
fn ports_are_listed_with_what_is_known_and_what_stands_in_the_way() {
    let dir = Folder::new("ports");
    let tree = crate::devices::Tree::new(dir.join("root"));
    tree.plug("1-2", "1209:00a1", Some("A7"), &["ttyUSB0"]);
    tree.plug("1-3", "1209:00a2", None, &["ttyACM0"]);
    std::fs::remove_file(tree.path().join("dev/ttyACM0")).unwrap();
    // Neither end is left to the processes that other tests start meanwhile.
    use nix::{fcntl::OFlag, pty};
    let master = pty::posix_openpt(OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC).unwrap();
    pty::grantpt(&master).unwrap();
    pty::unlockpt(&master).unwrap();
    let path = std::path::PathBuf::from(pty::ptsname_r(&master).unwrap());
    let slave = std::fs::File::options().read(true).write(true).open(&path).unwrap();
    tree.lead("ttyUSB0", &path);
    let o = run(&["ports", "--root", text(tree.path())]);
    exits(&o, &[0]);
    let said = stdout(&o);
    for part in [
        "ttyUSB0  USB 1209:00a1 serial A7, Imaginary Works, Serial Adapter, interface 0, driver ftdi_sio; owner",
        "--port usb:1209:00a1:A7",
        &format!(
            "the port is in use by another program: {}/dev/ttyUSB0: open in process {}",
            text(tree.path()),
            std::process::id()
        ),
        "next   close the other program that uses the port",
        "the port is not there: ",
    ] {
        assert!(said.contains(part), "no `{part}` in\n{said}");
    }
    drop(slave);
    let o = run(&["ports", "--json", "--root", text(tree.path())]);
    exits(&o, &[0]);
    let json: serde_json::Value = serde_json::from_slice(&o.stdout).unwrap();
    let port = |path: &str| {
        let all = json["ports"].as_array().unwrap();
        all.iter().find(|p| p["path"].as_str().unwrap().ends_with(path)).unwrap_or_else(|| panic!("{json:#}"))
    };
    let usb0 = port("ttyUSB0");
    assert_eq!((&usb0["usb"]["serial"], &usb0["hindrance"]), (&"A7".into(), &serde_json::Value::Null));
    assert_eq!(port("ttyACM0")["hindrance"]["cause"], "absent");
    let o = run(&["ports", "--root", text(&dir.join("empty"))]);
    exits(&o, &[0]);
    assert!(stdout(&o).contains("no serial port is there"));
    // The system's own: whatever it has is named so that it can be used.
    let o = run(&["ports", "--json"]);
    exits(&o, &[0]);
    let json: serde_json::Value = serde_json::from_slice(&o.stdout).unwrap();
    for port in json["ports"].as_array().unwrap() {
        plumeline_link::LinkSpec::parse(port["name"].as_str().unwrap()).unwrap();
    }
}

#[test]
fn what_goes_on_inside_is_told_as_far_as_asked() {
    let lies = |filter: Option<&str>, args: &[&str]| {
        let mut command = plumeline(args);
        if let Some(filter) = filter {
            command.env("RUST_LOG", filter);
        }
        command.output().unwrap()
    };
    for good in [None, Some(""), Some("debug"), Some("plumeline_runtime=trace,warn"), Some("off")] {
        exits(&lies(good, &["lies"]), &[0]);
    }
    let bad = lies(Some("plumeline_runtime=loud"), &["lies"]);
    exits(&bad, &[3]);
    let said = stderr(&bad);
    assert!(said.contains("RUST_LOG") && said.contains("plumeline_runtime=loud") && said.contains("help:"), "{said}");
}
