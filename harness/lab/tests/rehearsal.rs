//! The small demonstration's job played at sound sites: it passes, and limits that it can't meet are told by what stays open.
#![allow(clippy::unwrap_used, reason = "a failed step fails the test")]

use plumeline_job::folder;
use plumeline_lab::rehearsal::rehearse;
use plumeline_runtime::job_files::Files;

fn files(plan: &str) -> Files {
    let files = Files(vec![
        (folder::PIPEWORK.into(), include_bytes!("../../cli/demo/small/pipework.toml").to_vec()),
        (folder::PLAN.into(), plan.into()),
        (folder::SETTINGS_NEW.into(), include_bytes!("../../cli/demo/small/settings-new.json").to_vec()),
    ]);
    files.with_shipped("model-a", "model-b").unwrap()
}
const PLAN: &str = include_str!("../../cli/demo/small/plan.toml");

#[test]
fn a_sound_site_passes() {
    let files = files(PLAN);
    let loaded = files.check().unwrap();
    let seen = rehearse(&files, &loaded, 2).unwrap();
    assert_eq!((seen.seeds, seen.passed, seen.by.len()), (2, 2, 0), "{seen:?}");
    assert!(
        seen.out_of_service_hours > 0.5 && seen.hours > seen.out_of_service_hours && (30..45).contains(&seen.prompts),
        "{seen:?}"
    );
    assert_eq!(seen.remarks(4.0), []);
    let codes = seen.remarks(0.1).iter().map(|r| r.code.name()).collect::<Vec<_>>();
    assert_eq!(codes, ["too-long"]);
    // No site is no evidence.
    rehearse(&files, &loaded, 0).unwrap_err();
}

#[test]
fn too_tight_an_agreement_stays_undecided() {
    let wide = "transport_agreement = { value = \"25 %\"";
    assert!(PLAN.contains(wide));
    let tight = PLAN
        .replace(wide, "transport_agreement = { value = \"1 %\"")
        .replace("transport_agreement_least = \"common practice\"", "transport_agreement_least = \"0.5 s\"");
    let files = files(&tight);
    let seen = rehearse(&files, &files.check().unwrap(), 2).unwrap();
    assert_eq!(seen.passed, 0, "{seen:?}");
    let remarks = seen.remarks(4.0);
    assert!(!remarks.is_empty() && remarks.iter().all(|r| r.code.name().starts_with("rehearsal-")), "{remarks:?}");
    assert!(
        seen.by.keys().any(|code| code.contains("smoke") || code.contains("time") || code.contains("transport")),
        "{seen:?}"
    );
}
