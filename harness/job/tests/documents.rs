//! `docs/rules.md` is made from the declarations of rules and stages; the template says of each rule what holds by itself.
//! Run with `PLUMELINE_WRITE_DOCUMENTS=1` to write the document anew.
use plumeline_procedure::{rules::TABLES, stage::STAGES};
use std::{env, fmt::Write, fs, path::Path};

fn document() -> String {
    let mut out = String::from(
        "# Rules and stages\n\nMade from the declarations in `harness/procedure/src/rules` and `harness/procedure/src/stage.rs`; a test holds it to \
         them.\n\nA rule is the name of a preset, a value of the job's own (`\"90 s\"`), or `{ value = \"90 s\", source = \"fire strategy, rev. C\" }`. \
         The first preset holds where the plan says nothing.\n",
    );
    for table in TABLES {
        let name = if table.section.is_empty() { "At the top".to_owned() } else { format!("`[{}]`", table.section) };
        let _ = write!(out, "\n## {name}\n\n{}\n\n| key | what | presets | range |\n|---|---|---|---|\n", table.about);
        for rule in table.rules {
            let presets: Vec<_> = rule
                .presets
                .iter()
                .map(|p| format!("`{}` {} ({}; {})", p.name, rule.dimension.shown(p.value), p.source, p.mark.words()))
                .collect();
            let presets = if presets.is_empty() { "not stated".to_owned() } else { presets.join("; ") };
            let _ = writeln!(out, "| `{}` | {} | {presets} | {} |", rule.key, rule.says, rule.allowed());
        }
    }
    out.push_str("\n## Stages\n\n| stage | what | policy | deadline | holds |\n|---|---|---|---|---|\n");
    for s in STAGES {
        let t = s.traits;
        let holds: Vec<_> = [
            (t.judges, "its findings count"),
            (t.needed, "needed for a pass"),
            (t.bound_to_start, "void after a restart"),
            (t.bound_to_settings, "void when settings change"),
            (t.operates, "can operate outputs"),
            (t.winds_down, "done even after a stop"),
        ]
        .into_iter()
        .filter_map(|(holds, words)| holds.then_some(words))
        .collect();
        let (policy, minutes) = (s.policy.name(), s.deadline_min);
        let _ = writeln!(out, "| `{}` | {} | `{policy}` | {minutes} min | {} |", s.name, s.does, holds.join(", "));
    }
    out
}

#[test]
fn the_document_holds_the_current_rules_and_stages() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/rules.md");
    if env::var_os("PLUMELINE_WRITE_DOCUMENTS").is_some() {
        fs::write(&path, document()).unwrap();
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == document(), "docs/rules.md is out of date: run with PLUMELINE_WRITE_DOCUMENTS=1");
}

#[test]
fn the_template_changes_nothing_but_the_runs() {
    let template = plumeline_job::plan::TEMPLATE;
    let pipework =
        plumeline_job::pipework::parse("pipework.toml", plumeline_job::pipework::TEMPLATE.as_bytes()).unwrap();
    let plan = plumeline_job::plan::parse("plan.toml", template.as_bytes(), &pipework.pipework).unwrap().plan;
    let used = plumeline_procedure::rules::used(&plan);
    let changed: Vec<_> = used.iter().filter(|u| u.changed).map(|u| u.rule.path()).collect();
    assert_eq!(changed, ["smoke.runs"]);
}
