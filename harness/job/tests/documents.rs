//! `docs/rules.md` and the schema of a plan are made from the declarations of rules and stages; the template is written by hand and
//! must say of each usual rule what holds by itself. Run with `PLUMELINE_WRITE_DOCUMENTS=1` to write the document anew.
#![expect(clippy::panic, reason = "a test ends where something is not as it should be")]
use plumeline_procedure::{
    rules::{self, Mark, Rule, TABLES},
    stage::STAGES,
};
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
            (t.of_exchange, "not at a service visit"),
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

/// The lines of a table of the template, up to the next table.
fn of_section(section: &str) -> Vec<&'static str> {
    let mut current = "";
    let lines = plumeline_job::plan::TEMPLATE.lines().filter(|line| {
        if let Some(name) = line.strip_prefix('[') {
            current = name.trim_start_matches('[').split(']').next().unwrap_or_default();
        }
        current == section
    });
    lines.collect()
}
/// What the template writes for a rule, and the comment behind it, which may go on in the lines below.
fn in_template(rule: &Rule) -> (String, String) {
    let lines = of_section(rule.section);
    let starts = format!("{} = ", rule.key);
    let at =
        lines.iter().position(|l| l.starts_with(&starts)).unwrap_or_else(|| panic!("{} is not there", rule.path()));
    let (value, comment) = lines[at].split_once('#').unwrap_or((lines[at], ""));
    let more = lines[at + 1..].iter().take_while(|l| l.starts_with("   "));
    let comment = more.fold(comment.to_owned(), |all, l| all + " " + l.trim_start_matches([' ', '#']));
    (value.trim_start_matches(&starts).trim().to_owned(), comment)
}

#[test]
fn the_template_names_every_usual_rule_with_what_holds_by_itself() {
    let mut by_name = 0;
    for rule in rules::all().filter(|r| !r.section.starts_with("advanced.")) {
        let path = rule.path();
        let [first, others @ ..] = rule.presets else {
            let key = |w: &str| w == rule.key;
            let mut words = of_section(rule.section)
                .into_iter()
                .flat_map(|l| l.split(|c: char| !(c == '_' || c.is_alphanumeric())));
            assert!(words.any(key), "{path} is not in the template");
            continue;
        };
        let (value, comment) = in_template(rule);
        // A value that is written out is held against the declaration by reading the template.
        if value != format!("\"{}\"", first.name) {
            continue;
        }
        by_name += 1;
        let shown = rule.dimension.shown(first.value);
        assert!(comment.contains(&shown), "{path}: the template does not say {shown}: {comment}");
        assert_eq!(first.mark == Mark::FromMemory, comment.contains("from memory"), "{path}: {comment}");
        for other in others {
            let also = format!("\"{}\" ({})", other.name, rule.dimension.shown(other.value));
            assert!(comment.contains(&also), "{path}: the template does not say {also}: {comment}");
        }
    }
    assert!(by_name > 15, "{by_name}");
}

#[test]
fn the_schema_names_every_rule_with_what_holds_by_itself() {
    let schemas = plumeline_job::schema::all();
    let (_, text) = schemas.iter().find(|(name, _)| *name == "plan.schema.json").unwrap();
    let schema: serde_json::Value = serde_json::from_str(text).unwrap();
    let table = |section: &str| {
        section.split('.').filter(|name| !name.is_empty()).fold(&schema, |at, name| {
            let next = &at["properties"][name];
            next["$ref"].as_str().map_or(next, |to| schema.pointer(to.trim_start_matches('#')).unwrap())
        })
    };
    for rule in rules::all() {
        let says = table(rule.section)["properties"][rule.key]["description"].as_str().unwrap_or_default();
        let default =
            rule.presets.first().map(|p| format!("{} ({}) if not stated", rule.dimension.shown(p.value), p.name));
        assert!(
            says.contains(&default.unwrap_or_default()) && says.contains(&rule.allowed()),
            "{}: {says}",
            rule.path()
        );
    }
}
