//! Two records compared by the command itself: folders and archives, one that does not hold, one and itself.
use crate::common::{Folder, exits, run, stdout, text};
use serde_json::Value;
use std::fs;

#[test]
fn a_hole_that_changed_is_told_and_a_record_that_was_altered_is_not_compared() {
    let dir = Folder::new("compare");
    let (old, new, packed) = (dir.join("old"), dir.join("new"), dir.join("new.zip"));
    for (out, more) in [(&old, &[][..]), (&new, &["--defect", "hole-partly-blocked"][..])] {
        let mut args = vec!["demo", "--small", "--quiet", "--seed", "3", "--out", text(out)];
        args.extend(more);
        exits(&run(&args), &[0, 1]);
    }
    exits(&run(&["pack", text(&new), "-o", text(&packed)]), &[0]);
    let words = run(&["compare", text(&old), text(&packed)]);
    exits(&words, &[1]);
    assert!(stdout(&words).contains("likely: dirt, paint or tape in the hole"), "{}", stdout(&words));
    let told = run(&["compare", text(&old), text(&new), "--json"]);
    exits(&told, &[1]);
    let told: Value = serde_json::from_slice(&told.stdout).unwrap();
    let changes = told["comparison"]["changes"].as_array().unwrap();
    let holes: Vec<_> = changes.iter().filter(|c| c["code"].as_str().unwrap().starts_with("hole.")).collect();
    assert_eq!(holes.len(), 1, "{holes:?}");
    assert_eq!((&holes[0]["about"], &holes[0]["code"]), (&"pipe 1 hole 3".into(), &"hole.less".into()));

    exits(&run(&["compare", text(&old), text(&old)]), &[3]);
    let result = new.join("result.json");
    let words = fs::read_to_string(&result).unwrap();
    let (before, after) = words.split_once("\"value\": ").unwrap();
    let digit = if after.starts_with('5') { '6' } else { '5' };
    fs::write(&result, format!("{before}\"value\": {digit}{}", &after[1..])).unwrap();
    let refused = run(&["compare", text(&old), text(&new)]);
    assert!(!stdout(&refused).contains("before"), "{}", stdout(&refused));
    exits(&refused, &[1, 3]);
}
