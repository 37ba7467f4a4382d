//! Slips are put right on the spot and defects mended: the job goes on to a pass, and what was found stays in its record.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
use crate::{
    common::{Folder, exits, run, stdout, text},
    simulator::job,
};
use serde_json::Value;

/// A whole small job at this site, with these answers by somebody who decides. Gives its result and what was shown.
fn done(name: &str, defects: &[&str], answers: &str, code: i32) -> (Value, String) {
    let dir = Folder::new(name);
    job(&dir);
    std::fs::write(dir.join("operator.toml"), format!("format = 1\n{answers}")).unwrap();
    let (path, operator) = (dir.join("job"), dir.join("operator.toml"));
    let mut args = vec!["run", text(&path), "--port", "sim:", "--operator", text(&operator)];
    args.extend(defects.iter().flat_map(|d| ["--defect", d]));
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

#[test]
fn defects_of_the_site_are_found_mended_proven_and_passed_in_one_job() {
    for defect in ["pipe-off", "hole-blocked", "end-cap-missing", "inlet-left-open"] {
        let repair =
            format!("text = \"put right: the pipe, {defect}\"\nsite = '{{\"do\":\"repair\",\"defect\":\"{defect}\"}}'");
        let (result, shown) = done(&format!("mended-{defect}"), &[defect], &(once("decide", &repair) + REST), 0);
        let found = put_right(&result);
        assert!(!found.is_empty(), "{defect}");
        assert!(found.iter().all(|f| f["put_right"] == format!("the pipe, {defect}")), "{found:?}");
        assert!(shown.contains("PASS") && shown.contains("Found and put right:"), "{shown}");
    }
}

#[test]
fn what_is_not_mended_is_not_passed_by_saying_so() {
    let claimed = once("decide", "text = \"put right: the pipe is on\"");
    let (result, shown) = done("claimed", &["pipe-off"], &(claimed + REST), 1);
    assert!(!put_right(&result).is_empty() && shown.contains("FAIL"), "{shown}");
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
    let (result, shown) = done("slips", &[], &(answers + again + REST), 0);
    assert!(put_right(&result).len() >= 12, "{:#?}", put_right(&result));
    assert!(shown.contains("PASS"), "{shown}");
}
