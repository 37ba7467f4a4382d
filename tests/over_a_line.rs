//! The same job with the simulator in a process of its own, over a real pseudo-terminal and over TCP, with an unattended
//! operator; and a person's prompts answered through a pipe.
use crate::common::{Folder, exits, plumeline, stdout, text, word_for};
use crate::simulator::{SPEED, Simulator, job, without_bench};
use std::{
    io::{BufRead, BufReader},
    process::Stdio,
};

fn whole_job(dir: &Folder, simulator: &Simulator) {
    let operator = dir.join("operator.toml");
    std::fs::write(&operator, format!("format = 1\ncontrol = \"{}\"\n", simulator.control)).unwrap();
    let job = dir.join("job");
    let mut args = vec!["run", text(&job), "--port", &simulator.unit, "--operator", text(&operator), "--speed", SPEED];
    args.extend(simulator.outgoing.iter().flat_map(|port| ["--old-port", port]));
    let o = plumeline(&args).output().unwrap();
    exits(&o, &[0]);
    assert!(stdout(&o).contains("PASS"), "{}", stdout(&o));
    // What was recorded over the line replays to the same bytes and journal.
    exits(&crate::common::run(&["check", text(&job)]), &[0]);
}

#[cfg(unix)]
#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn over_a_pseudo_terminal_with_a_stable_link() {
    let dir = Folder::new("pty");
    job(&dir);
    let link = dir.join("unit");
    let simulator = Simulator::start(&dir, "", &["--pty", text(&link)]);
    assert_eq!(simulator.unit, format!("serial:{}", link.display()));
    whole_job(&dir, &simulator);
}

#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn over_tcp() {
    let dir = Folder::new("tcp");
    job(&dir);
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0"]);
    assert!(simulator.unit.starts_with("tcp:127.0.0.1:"));
    whole_job(&dir, &simulator);
}

/// The outgoing unit on a serial line, the replacement on the network, one job: both are asked, each on its own line.
#[cfg(unix)]
#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn each_unit_on_a_line_of_its_own() {
    use plumeline_base::input::{Input, LineId};
    use plumeline_trace::{LogReader, Logged};
    let dir = Folder::new("two-lines");
    job(&dir);
    let link = dir.join("old");
    let simulator = Simulator::start(&dir, "", &["--tcp", "127.0.0.1:0", "--old-pty", text(&link)]);
    assert!(simulator.unit.starts_with("tcp:127.0.0.1:"));
    assert_eq!(simulator.outgoing.as_deref(), Some(&*format!("serial:{}", link.display())));
    whole_job(&dir, &simulator);
    let (mut sent, mut heard) = (Vec::new(), Vec::new());
    for entry in LogReader::open(&dir.join("job/trace.pcapng")).unwrap() {
        match entry.unwrap().record.what {
            Logged::Sent(line, _) => sent.push(line),
            Logged::Input(Input::Received(line, _)) => heard.push(line),
            _ => {}
        }
    }
    for all in [sent, heard] {
        assert!(LineId::ALL.iter().all(|line| all.contains(line)), "{all:?}");
    }
}

#[cfg(unix)]
#[test]
#[ignore = "takes minutes in real time: .ci/run runs it"]
fn the_demonstration_over_a_pseudo_terminal() {
    let dir = Folder::new("demo-pty");
    let out = dir.join("job");
    let o = crate::common::run(&["demo", "--small", "--over", "pty", "--speed", SPEED, "--quiet", "--out", text(&out)]);
    exits(&o, &[0]);
}

#[test]
fn a_person_who_can_isolate_nothing_gets_no_further() {
    use std::io::Write;
    let dir = Folder::new("person");
    job(&dir);
    without_bench(&dir);
    let mut c = plumeline(&["run", text(&dir.join("job")), "--port", "display:"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = c.stdin.take().unwrap();
    writeln!(stdin, "cannot the panel is locked").unwrap();
    writeln!(stdin, "end").unwrap();
    let o = c.wait_with_output().unwrap();
    exits(&o, &[2]);
    assert!(stdout(&o).contains("the panel is locked"), "{}", stdout(&o));
    assert!(stdout(&o).contains("do not start before this is done"));
}

#[test]
fn a_person_at_a_display_ends_undecided_with_the_reasons() {
    use std::io::Write;
    let dir = Folder::new("display");
    job(&dir);
    let mut c = plumeline(&["run", text(&dir.join("job")), "--port", "display:"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = c.stdin.take().unwrap();
    let mut lines = BufReader::new(c.stdout.take().unwrap()).lines();
    let mut said = String::new();
    // Answers what is asked, as a person would who reads the unit's label and display.
    let mut serial = 0;
    while let Some(Ok(line)) = lines.next() {
        said.push_str(&line);
        said.push('\n');
        let Some(question) = line.trim_start().strip_prefix("? [") else { continue };
        let (id, question) = question.split_once("] ").unwrap();
        let answer = match question {
            // What is offered stands in the line below.
            q if q.ends_with("What now?") => {
                let offered = lines.next().unwrap().unwrap();
                if offered.contains("go on") { "go on" } else { "end" }
            }
            // The outgoing unit is another one, which nobody described.
            q if q.starts_with("Is the label") => {
                if serial == 0 {
                    "yes"
                } else {
                    "no"
                }
            }
            q if q.contains("Maker and model, as") => "Model A",
            q if q.starts_with("Serial number, as") => {
                serial += 1;
                ["902", "771"][serial - 1]
            }
            q if q.starts_with("Serial number") => "4.0.1",
            q if q.starts_with("Is the unit that you stand at still") => "no",
            q if q.starts_with("Which unit do you stand at") => "902",
            q if q.starts_with("Who") => "A. Name",
            q if q.starts_with("How many inlets") => "2",
            q if q.starts_with("Flow of inlets 1, 2 [L/min]") => "37,5 L/min 38",
            q => word_for(q).unwrap_or("done"),
        };
        writeln!(stdin, "{id}: {answer}").unwrap();
    }
    let o = c.wait_with_output().unwrap();
    assert_eq!(o.status.code(), Some(2), "{said}");
    for words in [
        "this model shows no flow",
        "serial 771",
        "serial 902",
        "shows its settings to nobody",
        "not captured",
        "UNDECIDED",
    ] {
        assert!(said.contains(words), "no `{words}` in\n{said}");
    }
}
