//! Slips are put right on the spot and defects mended: the job goes on to a pass, and what was found stays in its record.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use crate::{
    common::{Folder, exits, run, stdout, text},
    simulator::job,
};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// A job to be done at the bundled simulator.
struct Job {
    dir: Folder,
    defects: Vec<String>,
}
impl Job {
    /// The small demonstration's.
    fn new(name: &str) -> Self {
        let dir = Folder::new(name);
        job(&dir);
        Self { dir, defects: Vec::new() }
    }
    /// The demonstration's own, with two pipes.
    fn large(self) -> Self {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
        for name in ["pipework.toml", "plan.toml", "settings-new.json"] {
            std::fs::copy(from.join(name), self.path().join(name)).unwrap();
        }
        self
    }
    fn defect(mut self, defect: &str) -> Self {
        self.defects.push(defect.into());
        self
    }
    fn path(&self) -> PathBuf {
        self.dir.join("job")
    }
}

/// The whole job, with these answers by somebody who decides. Gives its result and what was shown.
fn done(job: &Job, answers: &str, code: i32) -> (Value, String) {
    let (path, operator) = (job.path(), job.dir.join("operator.toml"));
    std::fs::write(&operator, format!("format = 1\n{answers}")).unwrap();
    let mut args = vec!["run", text(&path), "--port", "sim:", "--operator", text(&operator)];
    args.extend(job.defects.iter().flat_map(|d| ["--defect", d]));
    let o = run(&args);
    exits(&o, &[code]);
    // Every decision is an event of the log: a replay comes to the same.
    exits(&run(&["check", text(&path)]), &[0]);
    let result = serde_json::from_slice(&std::fs::read(path.join("result.json")).unwrap()).unwrap();
    (result, stdout(&o))
}
fn put_right(result: &Value) -> Vec<&Value> {
    let all = result["outcome"]["findings"].as_array().unwrap();
    all.iter().filter(|f| f["put_right"].is_string() && f["verdict"] != "pass").collect()
}
fn once(act: &str, answer: &str) -> String {
    format!("[[answer]]\nact = \"{act}\"\n{answer}\ntimes = 1\n")
}
const REST: &str = "[[answer]]\nact = \"decide\"\ntext = \"end\"\n";

/// What is wrong at the site, what makes it so where the catalogue has no such defect, how it is mended, and what a person says.
const DEFECTS: [(&str, &str, &str, &str); 10] = [
    ("pipe-off", "", "", "put right: pipe 1 pushed into its inlet"),
    ("pipes-crossed", "", "", "put right: both pipes into their own inlets"),
    ("hole-blocked", "", "", "put right: the hole is cleared"),
    ("end-cap-missing", "", "", "put right: the pipe has its end cap"),
    ("filter-clogged", "", "", "put right: the unit has a new filter"),
    ("pipe-half-seated", "", "", "put right: pipe 1 pushed home and sealed"),
    ("wires-crossed", "", "", "put right: the outputs' wires on their own terminals"),
    ("setting-lost", "", "", "put right: the settings, with the maker's new firmware"),
    (
        "cover-open",
        r#"{"do":"cover","open":true}"#,
        r#"{"do":"cover","open":false}"#,
        "put right: the unit has its cover on",
    ),
    ("fan-setting-wrong", "", "", "put right: the unit runs at its fan step"),
];

/// How long a job took by its own clock, s.
fn lasted(result: &Value) -> f64 {
    let ends = result["outcome"]["stages"].as_array().unwrap().iter().filter_map(|s| s["ended"].as_u64());
    ends.max().unwrap() as f64 / 1e6
}

#[test]
fn ten_defects_of_the_site_are_found_mended_proven_and_sealed_in_one_job_each() {
    let sound = done(&Job::new("sound").large(), "", 0).0;
    let (mut table, key) = (Vec::new(), Folder::new("mended-key"));
    let private = key.join("a.key");
    exits(&run(&["key", "new", "--name", "A. Technician", "--out", text(&private)]), &[0]);
    for (defect, made, mended, says) in DEFECTS {
        let repair =
            if mended.is_empty() { format!(r#"{{"do":"repair","defect":"{defect}"}}"#) } else { mended.into() };
        let job = Job::new(&format!("mended-{defect}")).large();
        let (job, made) = match made {
            "" => (job.defect(defect), String::new()),
            site => (job, once("swap", &format!("site = '{site}'"))),
        };
        let mends = once("decide", &format!("text = \"{says}\"\nsite = '{repair}'"));
        let (result, shown) = done(&job, &(made + &mends + REST), 0);
        let found = put_right(&result);
        assert!(!found.is_empty(), "{defect}: {shown}");
        assert!(found.iter().all(|f| says.ends_with(f["put_right"].as_str().unwrap())), "{defect}: {found:?}");
        assert!(shown.contains("PASS") && shown.contains("Found and put right:"), "{defect}: {shown}");
        let sealed = run(&["close", text(&job.path()), "--key", text(&private)]);
        exits(&sealed, &[0]);
        exits(&run(&["check", text(&job.path()), "--key", &format!("{}.pub", text(&private))]), &[0]);
        let more = (lasted(&result) - lasted(&sound)) / 60.0;
        table.push(format!("| {defect} | {} | {} | {more:.0} min |", found[0]["stage"], found[0]["code"]));
    }
    // docs/slips.md has these.
    println!("a sound job: {:.0} min\n{}", lasted(&sound) / 60.0, table.join("\n"));
}

#[test]
fn what_is_not_mended_is_not_passed_by_saying_so() {
    let claimed = once("decide", "text = \"put right: the pipe is on\"");
    let (result, shown) = done(&Job::new("claimed").defect("pipe-off"), &(claimed + REST), 1);
    assert!(!put_right(&result).is_empty() && shown.contains("FAIL"), "{shown}");
}

/// Two pipes, and nobody can release smoke at either: nothing was held beside a shut inlet.
#[test]
fn where_no_smoke_stood_at_the_unit_untold_air_is_told_as_not_looked_for() {
    let none = "[[answer]]\nact = \"release-smoke\"\nsay = \"cannot\"\nbecause = \"no generator\"\n";
    let (result, shown) = done(&Job::new("no-smoke").large(), &format!("{none}{REST}"), 2);
    let codes: Vec<&Value> = result["outcome"]["findings"].as_array().unwrap().iter().map(|f| &f["code"]).collect();
    assert!(codes.iter().any(|c| **c == "dilution.not-tried"), "{codes:?}\n{shown}");
}

#[test]
fn slips_of_hand_are_put_right_in_one_job() {
    let cannot = "say = \"cannot\"\nbecause = \"a slip\"";
    let no = "say = \"no\"";
    let slips = [
        ("bench", cannot),
        ("isolate", no),
        ("lock-off", cannot),
        ("tell", no),
        ("swap", cannot),
        ("check", no),
        ("close-hole", cannot),
        ("release-smoke", cannot),
        ("release-went", cannot),
        ("shut-inlet", cannot),
        ("switch-supply", cannot),
        ("panel-fault", no),
        ("panel-shows", no),
        ("panel-clear", cannot),
        ("unlock", no),
    ];
    let answers: String = slips.iter().map(|(act, answer)| once(act, answer)).collect();
    let again = "[[answer]]\nact = \"decide\"\ntext = \"again\"\ntimes = 40\n";
    let (result, shown) = done(&Job::new("slips"), &(answers + again + REST), 0);
    assert!(put_right(&result).len() >= 12, "{:#?}", put_right(&result));
    assert!(shown.contains("PASS"), "{shown}");
}

#[test]
fn one_hole_and_the_smoke_of_one_pipe_are_taken_up_again_by_name() {
    // While the next hole is asked for, at a later question, and where a person decides.
    let slip = "say = \"cannot\"\nbecause = \"the tape fell off\"\nnumber = 2";
    let again = |what: &str| format!("again = \"{what}\"");
    let answers = [
        once("close-hole", slip),
        once("close-hole", &format!("{}\nnumber = 3", again("hole 2"))),
        once("left-alone", &again("smoke 1.5")),
        once("left-alone", &again("hole 4 of pipe 1")),
        once("left-alone", &again("hole 44")),
        once("open-hole", &again("hole 1")),
    ];
    let (result, shown) = done(&Job::new("by-name"), &(answers.concat() + REST), 0);
    assert!(shown.contains("PASS"), "{shown}");
    let found = put_right(&result);
    let of_hole = |f: &&&Value| f["code"] == "holes.not-closed" && f["subject"]["hole"] == serde_json::json!([1, 2]);
    assert_eq!(found.iter().filter(of_hole).count(), 1, "{found:#?}");
    assert!(
        shown.contains("names nothing that was done here") && shown.contains("first answer what is asked"),
        "{shown}"
    );
    let journal = shown.lines().filter(|l| l.contains("put right")).collect::<Vec<_>>();
    assert!(journal.iter().any(|l| l.contains("smoke 1.5; proven again: prove-smoke, purge")), "{journal:?}");
}
