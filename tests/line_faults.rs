//! A bad line during a job: it completes, or ends undecided with the reason. Never a false pass, never a false fail.
use crate::common::{Folder, exits, run, stdout, text};

fn job(faults: &str, defect: Option<&str>, codes: &[i32]) -> String {
    let dir = Folder::new("line");
    let out = dir.join("job");
    let mut args = vec!["demo", "--small", "--faults", faults, "--out", text(&out)];
    args.extend(defect.iter().flat_map(|d| ["--defect", d]));
    let o = run(&args);
    exits(&o, codes);
    // Whatever the line did, the record holds together and replays.
    exits(&run(&["check", text(&out)]), &[0]);
    stdout(&o)
}

#[test]
fn one_per_cent_of_flipped_bytes() {
    let said = job("flip=0.01", None, &[0, 2, 4]);
    assert!(said.contains("PASS") || said.contains("missing"), "{said}");
}
#[test]
fn one_per_cent_of_flipped_bytes_over_a_defect() {
    job("flip=0.01", Some("hole-blocked"), &[1, 2, 4]);
}
#[test]
fn five_per_cent_of_dropped_chunks() {
    job("drop=0.05", None, &[0, 2, 4]);
}
#[test]
fn five_per_cent_of_dropped_chunks_over_a_defect() {
    job("drop=0.05", Some("end-cap-missing"), &[1, 2, 4]);
}
#[test]
fn a_cut_of_five_seconds_in_each_stretch_of_the_job() {
    for at in [20, 100, 140, 200, 500, 900, 1200, 1500, 1800, 2000] {
        job(&format!("cut={at}s+5s"), None, &[0, 2, 4]);
    }
}
#[test]
fn a_pulled_cable_is_told_and_the_job_goes_on() {
    for at in [20, 140, 500, 1200, 1800] {
        let said = job(&format!("unplug={at}s+5s"), None, &[0, 2, 4]);
        assert!(said.contains("the port went away"), "{said}");
        assert!(said.contains("plug the cable in again"), "{said}");
    }
}
#[test]
fn a_cable_that_never_comes_back_ends_in_link_trouble() {
    let said = job("unplug=500s+100000s", None, &[4]);
    assert!(said.contains("UNDECIDED"), "{said}");
}
#[test]
fn everything_at_once_over_crossed_wires() {
    job("flip=0.002,drop=0.02,dup=0.02,split=0.2,jitter=50ms,cut=700s+5s", Some("wires-crossed"), &[1, 2, 4]);
}
