//! The prediction as people and scripts get it: the table, the JSON and the drawing tell the same, poor designs are
//! remarked on, wrong options say what is right.
use crate::common::{Folder, exits, run, stderr, stdout, text};
use quick_xml::{Reader, events::Event};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/examples").join(name)
}
/// A pipe that nobody should build: narrow, long, too many holes, a weak fan; and a name that is markup.
const POOR: &str = r#"
format = 1
name = "Attic <b>&\u0007"
[unit.fan]
curve = [["0 L/min", "120 Pa"], ["40 L/min", "90 Pa"], ["80 L/min", "20 Pa"]]
[[pipe]]
inlet = 1
bore = "15 mm"
run = [{ pipe = "30 m" }, { holes = 30, diameter = "4 mm", every = "4 m" }, { pipe = "4 m" }, { cap = "3 mm" }]
except = [{ holes = [2], blocked = true }]
"#;
fn poor() -> (Folder, PathBuf) {
    let dir = Folder::new("predict");
    let path = dir.join("poor.toml");
    std::fs::write(&path, POOR).unwrap();
    (dir, path)
}
fn predict(file: &Path, options: &[&str]) -> String {
    let o = run(&[&["predict", text(file), "--draws", "200"], options].concat());
    exits(&o, &[0]);
    stdout(&o)
}
fn json(file: &Path, options: &[&str]) -> Value {
    serde_json::from_str(&predict(file, &[&["--json"], options].concat())).unwrap()
}

#[test]
fn table_of_the_usual_case() {
    let said =
        predict(&example("pipework-simple.toml"), &["--obscuration", "alarm=0.2 %/m", "--obscuration", "0.1 dB/m"]);
    assert!(said.lines().all(|l| l.chars().count() <= 100), "{said}");
    insta::assert_snapshot!("predict table", said);
}

#[test]
fn no_line_is_wider_than_100_columns() {
    let (_dir, poor) = poor();
    for file in [poor, example("pipework-full.toml"), example("pipework-network.toml")] {
        let said = predict(&file, &[]);
        let widest = said.lines().max_by_key(|l| l.chars().count()).unwrap();
        assert!(widest.chars().count() <= 100, "{widest}");
        assert!(!said.contains('\u{7}'), "control characters of a file reach no terminal");
    }
}

#[test]
fn json_agrees_with_the_table() {
    let file = example("pipework-full.toml");
    let (table, all) = (predict(&file, &[]), json(&file, &[]));
    for (i, inlet) in all["inlets"].as_array().unwrap().iter().enumerate() {
        let number = inlet["number"].as_u64().unwrap();
        let after = table.split(&format!("\nPipe {number}\n")).nth(1).expect("a table of this pipe");
        let rows: Vec<&str> = after.lines().skip(2).take_while(|l| !l.is_empty()).collect();
        let holes: Vec<&Value> =
            all["openings"].as_array().unwrap().iter().filter(|o| o["inlet"].as_u64() == Some(number)).collect();
        assert_eq!(rows.len(), holes.len());
        assert!(rows.len() > 5);
        let mut sum = 0.0;
        for (row, hole) in rows.iter().zip(holes) {
            let Some(flow) = hole["flow_m3_s"]["value"].as_f64() else {
                assert_eq!(hole["diameter_m"].as_f64(), Some(0.0), "{row}");
                continue;
            };
            sum += flow;
            for shown in [
                format!("{:.2}", flow * 60_000.0),
                format!("{:.1}", hole["suction_pa"]["value"].as_f64().unwrap()),
                format!("{:.2}", hole["share_of_unit"].as_f64().unwrap() * 100.0),
                format!("{:.1}", hole["mean_s"]["value"].as_f64().unwrap()),
                format!("{:.1}", hole["first_s"]["value"].as_f64().unwrap()),
            ] {
                assert!(row.split_whitespace().any(|cell| cell == shown), "{shown} is not in: {row}");
            }
        }
        let inlet_flow = inlet["flow_m3_s"]["value"].as_f64().unwrap();
        assert!(i > 0 || (sum - inlet_flow).abs() < 1e-9 * inlet_flow, "holes draw {sum}, the pipe {inlet_flow}");
    }
    let solve = &all["solve"];
    assert!(solve["residual_energy"].as_f64().unwrap() < 1e-9);
    assert!(solve["iterations"].as_u64().unwrap() > 0);
    assert_eq!(solve["draws"], 200);
}

#[test]
fn obscuration_at_a_hole_mixes_as_extinction() {
    let all = json(&example("pipework-simple.toml"), &["--obscuration", "alarm=0.2 %/m"]);
    for o in all["openings"].as_array().unwrap() {
        let share = o["share_of_unit"].as_f64().unwrap();
        let needed = o["needed"][0]["at_hole"].as_f64().unwrap();
        // What is left of the light over a metre, by the power law.
        let by_hand = 100.0 * (1.0 - 0.998f64.powf(1.0 / share));
        assert!((needed - by_hand).abs() < 1e-9, "{needed} {by_hand}");
        assert_eq!(o["needed"][0]["level"], "alarm");
    }
}

#[test]
fn a_poor_design_is_remarked_on() {
    let (_dir, file) = poor();
    let said = predict(&file, &[]);
    for words in ["suction only", "under 25 Pa (suction at the last hole; common practice, no source)", "ever arrives"]
    {
        assert!(said.replace("\n    ", " ").contains(words), "{words} is missing:\n{said}");
    }
    let all = json(&file, &[]);
    let kinds: Vec<&str> = all["warnings"].as_array().unwrap().iter().map(|w| w["kind"].as_str().unwrap()).collect();
    for kind in ["starved", "slow", "unbalanced", "slow-hole"] {
        assert!(kinds.contains(&kind), "{kind} is not among {kinds:?}");
    }
    assert!(said.contains("closed"));
    // The usual case is a sound design but for the transition.
    let sound = json(&example("pipework-simple.toml"), &[]);
    let kinds: Vec<&str> = sound["warnings"].as_array().unwrap().iter().map(|w| w["kind"].as_str().unwrap()).collect();
    assert!(kinds.contains(&"transition"), "{kinds:?}");
    assert!(!kinds.iter().any(|k| ["starved", "slow", "unbalanced", "backflow"].contains(k)), "{kinds:?}");
    // A limit of the user's own is the one that counts.
    let strict = predict(&example("pipework-simple.toml"), &["--limit", "10 s"]).replace("\n    ", " ");
    assert!(strict.contains("over 10 s (set by --limit)"), "{strict}");
    let preset = predict(&example("pipework-simple.toml"), &["--limit", "NFPA 76 very early warning"]);
    assert!(preset.contains("mean time up to 60 s (NFPA 76"), "{preset}");
}

/// Texts of a drawing; fails on anything that is no XML.
fn texts(svg: &str) -> Vec<String> {
    let mut reader = Reader::from_str(svg);
    reader.config_mut().check_end_names = true;
    let (mut all, mut depth, mut now) = (Vec::new(), 0, None::<String>);
    loop {
        match reader.read_event().unwrap() {
            Event::Start(e) => {
                depth += 1;
                assert!(e.attributes().all(|a| a.is_ok()));
                now = (e.name().as_ref() == b"text" || e.name().as_ref() == b"title").then(String::new);
            }
            Event::End(_) => {
                depth -= 1;
                all.extend(now.take());
            }
            Event::Text(t) => now.iter_mut().for_each(|n| n.push_str(&t.decode().unwrap())),
            Event::GeneralRef(r) => now.iter_mut().for_each(|n| {
                let name = r.decode().unwrap();
                n.push_str(quick_xml::escape::resolve_predefined_entity(&name).unwrap());
            }),
            Event::Empty(e) => assert!(e.attributes().all(|a| a.is_ok())),
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    all
}

#[test]
fn drawings_tell_every_hole() {
    let (dir, poor) = poor();
    for file in
        [poor.clone(), example("pipework-simple.toml"), example("pipework-full.toml"), example("pipework-network.toml")]
    {
        let path = dir.join("drawing.svg");
        let all = json(&file, &["--svg", text(&path)]);
        let texts = texts(&std::fs::read_to_string(&path).unwrap());
        for o in all["openings"].as_array().unwrap() {
            let number = o["number"].to_string();
            assert!(texts.iter().any(|t| t.trim_end_matches(" !") == number), "{o}");
            let Some(flow) = o["flow_m3_s"]["value"].as_f64() else { continue };
            assert!(texts.contains(&format!("{:.2}", flow * 60_000.0).replace("-0.00", "0.00")), "{o}");
            let time = match o["mean_s"]["value"].as_f64() {
                Some(s) if s > 9999.0 => "> 9999".to_owned(),
                Some(s) => format!("{s:.1}"),
                None => "never".to_owned(),
            };
            assert!(texts.contains(&time), "{time} {texts:?}");
        }
    }
    let path = dir.join("poor.svg");
    predict(&poor, &["--svg", text(&path)]);
    let texts = texts(&std::fs::read_to_string(&path).unwrap());
    assert_eq!(texts[0], "Attic <b>&\\u0007", "the name is text, not markup");
    assert!(texts.iter().any(|t| t.ends_with(" !")), "poor holes are marked");
}

#[test]
fn wrong_options_say_what_is_right() {
    let file = example("pipework-simple.toml");
    let said = |options: &[&str]| {
        let o = run(&[&["predict", text(&file)], options].concat());
        exits(&o, &[3]);
        stderr(&o).replace(text(&file), "FILE")
    };
    let all = [
        said(&["--limit", "90"]),
        said(&["--limit", "90 Pa"]),
        said(&["--limit", "0 s"]),
        said(&["--obscuration", "0.04"]),
        said(&["--obscuration", "alarm=0.04 %/km"]),
        said(&["--obscuration", "100 %/m"]),
        said(&["--draws", "5"]),
    ];
    insta::assert_snapshot!("predict options", all.join("\n"));
    let o = run(&["predict", text(&file), "--svg", text(&file.join("no/such.svg"))]);
    exits(&o, &[3]);
    let o = run(&["predict", text(&example("none.toml"))]);
    exits(&o, &[3]);
}
