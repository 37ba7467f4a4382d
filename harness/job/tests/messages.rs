//! The messages for each kind of bad input, as a person sees them: the place, the cause, the remedy.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test ends where something is not as it should be")]
use plumeline_base::Instant;
use plumeline_job::{
    Problem,
    digest::Digest,
    disk::{Disk, fake::FakeDisk},
    folder::{self, Folder},
    journal::{self, Chain, Citation},
    pipework, plan, settings,
};
use std::{path::Path, sync::Arc};

fn shown<T>(result: Result<T, Problem>) -> String {
    match result {
        Ok(_) => panic!("it was accepted"),
        Err(p) => format!("{}\n\nin one line: {p}", p.render(false)),
    }
}

const GOOD: &str = r#"format = 1
name = "Store rooms"

[unit.fan]
curve = [["0 L/min", "310 Pa"], ["40 L/min", "290 Pa"]]

[[pipe]]
inlet = 1
bore = "21 mm"
run = [
  { pipe = "6 m" },
  { fitting = "elbow 90" },
  { holes = 9, diameter = "3 mm", every = "4 m" },
  { pipe = "4 m" },
  { cap = "4 mm" },
]
"#;

macro_rules! messages {
    ($($name:ident: $result:expr;)*) => { $(
        #[test]
        fn $name() {
            insta::assert_snapshot!(stringify!($name), shown($result));
        }
    )* };
}

fn pipes(from: &str, to: &str) -> Result<pipework::PipeworkFile, Problem> {
    assert!(GOOD.contains(from), "{from}");
    pipework::parse("pipework.toml", GOOD.replacen(from, to, 1).as_bytes())
}
fn plans(more: &str) -> Result<plan::PlanFile, Problem> {
    let pipework = pipework::parse("pipework.toml", GOOD.as_bytes()).unwrap().pipework;
    plan::parse("plan.toml", format!("format = 1\nsite = \"S\"\ntechnician = \"T\"\n{more}").as_bytes(), &pipework)
}

messages! {
    // pipework.toml
    wrong_key: pipes("bore =", "bor =");
    one_label_for_several_holes: pipes("every = \"4 m\"", "every = \"4 m\", label = \"A\"");
    a_label_twice: pipes("{ cap = \"4 mm\" },\n]", "{ cap = \"4 mm\", label = \"A\" },\n]\nexcept = [{ holes = [3], label = \"A\" }]");
    too_few_places: pipes("every = \"4 m\"", "every = \"4 m\", where = [\"hall\", \"lobby\"]");
    an_empty_place: pipes("cap = \"4 mm\"", "cap = \"4 mm\", where = \" \"");
    a_place_that_is_too_long: pipes("cap = \"4 mm\"", &format!("cap = \"4 mm\", where = \"{}\"", "x".repeat(121)));
    a_place_of_two_lines: pipes("cap = \"4 mm\"", "cap = \"4 mm\", where = \"a\\nb\"");
    a_place_that_is_no_text: pipes("cap = \"4 mm\"", "cap = \"4 mm\", where = 4");
    a_place_where_no_hole_is: pipes("pipe = \"6 m\"", "pipe = \"6 m\", where = \"hall\"");
    a_walk_to_no_pipe: pipes("format = 1", "format = 1\nwalk = [{ inlet = 2 }]");
    a_walk_to_no_hole: pipes("format = 1", "format = 1\nwalk = [{ inlet = 1, holes = [1, 11] }]");
    a_walk_to_a_pipe_twice: pipes("format = 1", "format = 1\nwalk = [{ inlet = 1 }, { inlet = 1, holes = [2] }]");
    a_walk_to_a_hole_twice: pipes("format = 1", "format = 1\nwalk = [{ inlet = 1, holes = [2, 2] }]");
    wrong_key_in_a_step: pipes("every = \"4 m\"", "evry = \"4 m\"");
    missing_key: pipes("inlet = 1\n", "");
    no_unit: pipes("\"21 mm\"", "21");
    no_unit_in_text: pipes("\"21 mm\"", "\"21\"");
    wrong_unit: pipes("\"21 mm\"", "\"21 Pa\"");
    unknown_unit: pipes("\"6 m\"", "\"6 mtr\"");
    comma_for_point: pipes("\"6 m\"", "\"6,5 m\"");
    negative_length: pipes("\"6 m\"", "\"-6 m\"");
    absurd_length: pipes("\"6 m\"", "\"6 km\"");
    unit_slip: pipes("\"21 mm\"", "\"21 m\"");
    hole_wider_than_pipe: pipes("\"3 mm\"", "\"30 mm\"");
    unknown_fitting: pipes("elbow 90", "elbo 90");
    duplicate_inlet: pipes("[[pipe]]", "[[pipe]]\ninlet = 1\nrun = [{ pipe = \"1 m\" }, { cap = \"blind\" }]\n[[pipe]]");
    no_end: pipes("  { cap = \"4 mm\" },\n", "");
    two_things_in_a_step: pipes("{ pipe = \"6 m\" }", "{ pipe = \"6 m\", hole = \"3 mm\" }");
    key_without_meaning: pipes("{ pipe = \"6 m\" }", "{ pipe = \"6 m\", every = \"3 m\" }");
    steeper_than_long: pipes("{ pipe = \"6 m\" }", "{ pipe = \"6 m\", rise = \"8 m\" }");
    too_many_holes: pipes("holes = 9", "holes = 1000000");
    falling_fan_flow: pipes("\"40 L/min\"", "\"0 L/min\"");
    nothing_moves_the_air: pipes("[unit.fan]\ncurve = [[\"0 L/min\", \"310 Pa\"], [\"40 L/min\", \"290 Pa\"]]\n", "");
    unclosed_bracket: pipes("  { cap = \"4 mm\" },\n]", "  { cap = \"4 mm\" },\n");
    future_format: pipes("format = 1", "format = 2");
    duplicate_key: pipes("name = ", "name = \"twice\"\nname = ");
    not_utf8: pipework::parse("pipework.toml", b"format = 1\nname = \"caf\xe9\"\n");
    huge_file: pipework::parse("pipework.toml", &vec![b' '; 9 * 1024 * 1024]);
    // plan.toml
    unknown_stage: plans("stages = [{ stage = \"isolat\" }]\n");
    stage_order: plans("stages = [{ stage = \"restore\" }, { stage = \"isolate\" }]\n");
    load_without_isolation: plans("stages = [{ stage = \"load\" }]\n");
    unknown_preset: plans("[limits]\ntransport = \"NFPA 27\"\n");
    unknown_hole: plans("[smoke]\nat = [{ inlet = 1, hole = 12 }]\n");
    rate_out_of_range: plans("readings = \"50 Hz\"\n");
    // settings
    settings_wrong_key: settings::parse("settings-new.json", b"{\n  \"format\": 1,\n  \"itmes\": []\n}\n");
    settings_cut: settings::parse("settings-new.json", b"{\n  \"format\": 1,\n  \"items\": [");
    settings_twice: settings::parse("settings-new.json", b"{ \"format\": 1, \"items\": [\n{ \"key\": \"fan\", \"value\": 1 },\n{ \"key\": \"fan\", \"value\": 2 } ] }");
    // journal.jsonl
    journal_edited: journal::read::<serde_json::Value>("journal.jsonl", &edited());
    journal_line_removed: journal::read::<serde_json::Value>("journal.jsonl", &shortened());
    // the folder
    missing_folder: Folder::open(Path::new("no/such/job"));
    missing_file: job().read(folder::PIPEWORK);
    path_trick: job().read("../secret");
    not_overwritten: job().write(folder::PLAN, b"", false);
    busy: { let job = job(); let _held = job.lock().unwrap(); job.lock() };
}

fn job() -> Folder {
    let disk = FakeDisk::new();
    disk.create_dir(Path::new("job")).unwrap();
    Folder::create_on(Arc::new(disk), Path::new("job"), &[(folder::PLAN, b"format = 1\n")], false).unwrap()
}

fn journal_lines() -> Vec<u8> {
    let mut chain = Chain::default();
    let log = Citation { offset: 1, index: 0, hash: Digest::default() };
    let entry = |n: u64| serde_json::json!({ "entry": "remark", "text": format!("flow {n} L/min") });
    (0..4).flat_map(|n| chain.line(Instant::from_secs(n), &log, &entry(n)).unwrap()).collect()
}
fn edited() -> Vec<u8> {
    String::from_utf8(journal_lines()).unwrap().replace("flow 2", "flow 3").into_bytes()
}
fn shortened() -> Vec<u8> {
    journal_lines()
        .split_inclusive(|b| *b == b'\n')
        .enumerate()
        .filter(|(i, _)| *i != 1)
        .flat_map(|(_, l)| l.to_vec())
        .collect()
}

#[test]
fn colour_only_when_asked_for() {
    let p = pipes("bore =", "bor =").unwrap_err();
    assert!(!p.render(false).contains('\u{1b}'));
    assert!(p.render(true).contains('\u{1b}'));
}

#[test]
fn hostile_words_can_not_steer_the_terminal() {
    let p = pipes("elbow 90", "\\u001b[2J\\u0007elbow").unwrap_err();
    assert!(!p.render(false).contains(['\u{1b}', '\u{7}']) && !p.to_string().contains(['\u{1b}', '\u{7}']));
}
