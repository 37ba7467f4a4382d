//! Prepared mistakes in the demonstration's files: each is told by its own code and no other; none is told of what is sound.
#![allow(clippy::unwrap_used, reason = "a failed step fails the test")]

use plumeline_job::{
    folder,
    remarks::{Code, Weight},
};
use plumeline_runtime::{job_files::Files, plan_check::check};

const PIPEWORK: &str = include_str!("../../cli/demo/pipework.toml");
const PLAN: &str = include_str!("../../cli/demo/plan.toml");
const SETTINGS: &str = include_str!("../../cli/demo/settings-new.json");

/// The demonstration's files with its descriptions.
fn files(texts: [String; 3]) -> Files {
    let [pipework, plan, settings] = texts.map(String::into_bytes);
    let files = Files(vec![
        (folder::PIPEWORK.into(), pipework),
        (folder::PLAN.into(), plan),
        (folder::SETTINGS_NEW.into(), settings),
    ]);
    files.with_shipped("model-a", "model-b").unwrap()
}
fn codes(files: &Files) -> Vec<&'static str> {
    let mut codes: Vec<_> = check(files).remarks.iter().map(|r| r.code.name()).collect();
    codes.dedup();
    codes
}

/// File, what stands there, what is written in its place, the codes: one, unless something else truly
/// follows. The first place counts.
const MISTAKES: &[(usize, &str, &str, &str)] = &[
    (0, "name = \"Invented store, packing hall\"", "name = \"Site and zone\"", "pipework-name-untouched"),
    (0, "every = \"4 m\"", "every = \"4 mm\"", "file-unreadable"),
    (0, "every = \"4 m\"", "every = \"40 mm\"", "holes-close"),
    (0, "diameter = \"3 mm\"", "diameter = \"0.3 mm\"", "hole-size"),
    (0, "diameter = \"3 mm\"", "diameter = \"30 mm\"", "file-unreadable"),
    (0, "cap = \"4 mm\"", "open = true", "suction-low end-open hole-weak"),
    (0, "inlets = 4", "inlets = 9", "file-unreadable"),
    (0, "[\"50 L/min\", \"400 Pa\"]", "[\"50 L/min\", \"380 Pa\"]", "fan-differs"),
    (0, "linear = \"10 Pa\", quadratic = \"25 Pa\"", "linear = \"10 Pa\", quadratic = \"35 Pa\"", "losses-differ"),
    (0, "volume = \"0.3 L\"", "volume = \"3 L\"", "volumes-differ"),
    (0, "sensor_lag = \"1.5 s\"", "sensor_lag = \"15 s\"", "lag-differs"),
    (0, "altitude = \"0 m\"", "altitude = \"0\"", "file-unreadable"),
    (0, "inlet = 2\n", "inlet = 3\n", "inlet-use-differs"),
    (1, "site = \"Invented store, packing hall\"", "site = \"Site and zone\"", "site-untouched"),
    (1, "technician = \"A. Technician (invented)\"", "technician = \"Name\"", "technician-untouched"),
    (1, "model = \"Model B\"\n", "", "model-unnamed"),
    (1, "model = \"Model B\"", "model = \"Model C\"", "model-differs"),
    (1, "output = 4", "output = 5", "wire-output-unknown"),
    (1, "function = \"alarm-3\"", "function = \"alarm-2\"", "wire-function-differs"),
    (1, "function = \"fault\"", "function = \"trouble\"", "wire-function-differs"),
    (1, "panel = \"3 alarm\"", "panel = \"2 pre-alarm\"", "wire-panel-twice"),
    (1, "panel = \"3 alarm\"", "panel = \"3 alarm\"\ninput = 7", "wire-input-unknown"),
    (1, "[[outputs.wire]]\noutput = 4\nfunction = \"alarm-3\"\npanel = \"4 second alarm\"\n", "", "output-unwired"),
    (1, "stage = \"supervise\"\npolicy = \"go-on\"", "stage = \"supervise\"\npolicy = \"skip\"", "stage-left-out"),
    (1, "at = \"farthest\"", "at = [{ inlet = 1, hole = 7 }]", "smoke-place-missing"),
    (1, "at = \"farthest\"", "at = [{ inlet = 1, hole = 2 }, { inlet = 2, hole = 5 }]", "smoke-not-farthest"),
    (1, "which = \"reachable\"", "which = \"none\"", "hole-unproven"),
    (1, "battery = \"17 Ah\"", "", "battery-missing"),
    (1, "[supply]", "[suction]\nat = \"farthest\"\n\n[supply]", "manometer-missing"),
    (1, "accept_risk = \"5 %\"", "accept_risk = \"40 %\"", "risk-high"),
    (1, "reject_risk = \"5 %\"", "reject_risk = \"0.001 %\"", "risk-tiny"),
    (1, "transport = \"NFPA 72\"", "transport = \"20 min\"", "limit-lax"),
    (1, "transport = \"NFPA 72\"", "transport = \"20 s\"", "transport-near"),
    (1, "transport = \"NFPA 72\"", "transport = \"10 s\"", "transport-late"),
    (1, "last_hole_suction = \"common practice\"", "last_hole_suction = \"3 kPa\"", "suction-low"),
    (1, "\nreadings = ", "\nnot_shown = [\"event log\"]\nreadings = ", "not-shown-needless"),
    (1, "clock = \"common practice\"", "clock = \"usual\"", "file-unreadable"),
    (2, "\"key\": \"flow.low\",\n      \"value\": 20", "\"key\": \"flow.low\",\n      \"value\": 45", "flow-band-wide"),
    (2, "\"value\": 0.064", "\"value\": 0.38", "levels-not-rising"),
    (2, "\"value\": 0.064", "\"value\": 64", "setting-unloadable"),
    (2, "\"unit\": \"%/m\"", "\"unit\": \"%/ft\"", "setting-unloadable"),
    (2, "\"key\": \"alarm.1.delay\"", "\"key\": \"alarm.1.delai\"", "setting-unknown setting-missing"),
    (
        2,
        "\"key\": \"inlet.2.used\",\n      \"value\": true",
        "\"key\": \"inlet.2.used\",\n      \"value\": false",
        "inlet-use-differs",
    ),
    (
        2,
        "\"key\": \"fan.speed\",\n      \"value\": 100",
        "\"key\": \"fan.speed\",\n      \"value\": 60",
        "fan-speed-differs",
    ),
    (
        2,
        "\"key\": \"learning.on\",\n      \"value\": false",
        "\"key\": \"learning.on\",\n      \"value\": true",
        "thresholds-learnt",
    ),
    (2, "\"format\": 1", "\"format\": 7", "file-unreadable"),
];

#[test]
fn each_mistake_is_told_by_its_code_alone() {
    let sound = [PIPEWORK, PLAN, SETTINGS].map(str::to_owned);
    let mut wrong = Vec::new();
    for (file, good, bad, code) in MISTAKES {
        let mut texts = sound.clone();
        let text = texts.get_mut(*file).unwrap();
        assert!(text.contains(good), "{good}");
        *text = text.replacen(good, bad, 1);
        let told = codes(&files(texts)).join(" ");
        if told != *code {
            wrong.push(format!("{bad}: [{told}], not [{code}]"));
        }
    }
    assert!(MISTAKES.len() >= 30);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn nothing_is_told_of_what_is_sound() {
    let small = ["pipework.toml", "plan.toml", "settings-new.json"].map(|name| {
        let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../cli/demo/small");
        std::fs::read_to_string(demo.join(name)).unwrap()
    });
    // The batch's examples bring a description of their own: the shipped one.
    let own = include_str!("../../cli/demo/small/unit-replacement.toml");
    assert_eq!(own, plumeline_job::description::SHIPPED.iter().find(|(n, _)| *n == "model-b").unwrap().1);
    for texts in [[PIPEWORK, PLAN, SETTINGS].map(str::to_owned), small] {
        let found = check(&files(texts).with_port("sim:"));
        assert_eq!(found.text(), "");
        assert!(found.loaded.is_ok());
    }
}

#[test]
fn without_settings_or_description_it_is_open() {
    let sound = files([PIPEWORK, PLAN, SETTINGS].map(str::to_owned));
    for (name, code) in [(folder::SETTINGS_NEW, "settings-missing"), (folder::UNIT_REPLACEMENT, "description-missing")]
    {
        let left = Files(sound.0.iter().filter(|(n, _)| n != name).cloned().collect());
        assert_eq!(codes(&left), [code], "{name}");
    }
}

/// What the plan must name of a unit that is read by registers, and no more.
#[test]
fn a_plan_goes_without_what_its_unit_has_no_way_to_show() {
    let of = |named: &str| {
        let plan = PLAN.replacen("\nreadings = ", &format!("\nnot_shown = [{named}]\nreadings = "), 1);
        let texts = [PIPEWORK, &plan, SETTINGS].map(|t| t.as_bytes().to_vec());
        let names = [folder::PIPEWORK, folder::PLAN, folder::SETTINGS_NEW].map(str::to_owned);
        let files = Files(names.into_iter().zip(texts).collect()).with_shipped("model-a", "model-g").unwrap();
        let remarks = check(&files).remarks;
        let told = remarks.iter().filter(|r| r.key == "not_shown");
        told.map(|r| (r.code, r.says.split("its ").nth(1).unwrap().to_owned())).collect::<Vec<_>>()
    };
    assert_eq!(of(r#""device time", "event log""#), []);
    let unnamed = |what: &str| (Code::NotShownUnnamed, what.to_owned());
    assert_eq!(of(""), [unnamed("device time"), unnamed("event log")]);
    let needless = (Code::NotShownNeedless, "inhibit".to_owned());
    assert_eq!(of(r#""event log", "inhibit""#), [unnamed("device time"), needless]);
}

#[test]
fn a_display_can_not_show_everything() {
    let told = check(&files([PIPEWORK, PLAN, SETTINGS].map(str::to_owned)).with_port("display:"));
    let stages: Vec<&str> = told.remarks.iter().map(|r| r.key.as_str()).collect();
    assert_eq!(
        stages,
        [
            "load",
            "settle",
            "prove-flow",
            "baseline",
            "prove-smoke",
            "purge",
            "purge",
            "supervise",
            "supply",
            "outputs",
            "restore",
            "outputs"
        ]
    );
    assert!(told.remarks.iter().all(|r| r.code == Code::PortShowsLess));
    told.allows_to_begin().unwrap();
}

#[test]
fn an_untouched_template_is_not_begun() {
    let template = [plumeline_job::pipework::TEMPLATE, plumeline_job::plan::TEMPLATE].map(str::as_bytes);
    let [pipework, plan] = template.map(<[u8]>::to_vec);
    let files = Files(vec![(folder::PIPEWORK.into(), pipework), (folder::PLAN.into(), plan)]);
    let found = check(&files);
    let heavy = found.remarks.iter().filter(|r| r.code.weight() == Weight::Wrong).map(|r| r.code.name());
    let untouched =
        ["pipework-name-untouched", "fan-untouched", "pipes-untouched", "site-untouched", "technician-untouched"];
    assert_eq!(heavy.collect::<Vec<_>>(), untouched);
    let refused = found.allows_to_begin().unwrap_err().to_string();
    assert!(refused.contains("site-untouched"), "{refused}");
}

/// The document has each code once, with its weight, what follows and the remedy.
#[test]
fn the_document_has_every_code() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/plan-check.md");
    let row = |c: &Code| format!("| `{}` | {} | {} | {} |\n", c.name(), c.weight().words(), c.follows(), c.remedy());
    let table: String = Code::ALL.iter().map(row).collect();
    let mut text = std::fs::read_to_string(&path).unwrap();
    if std::env::var_os("PLUMELINE_WRITE_SCHEMAS").is_some() {
        let at = text.find("|---|---|---|---|\n").unwrap() + "|---|---|---|---|\n".len();
        let end = text[at..].find("\n\n").map_or(text.len(), |e| at + e + 1);
        text.replace_range(at..end, &table);
        std::fs::write(&path, &text).unwrap();
    }
    assert!(text.contains(&table), "run this test with PLUMELINE_WRITE_SCHEMAS=1");
}
