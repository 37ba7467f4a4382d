//! A sheet of holes becomes a pipework file that reads back as the same geometry.
use plumeline_base::pipework::{OpeningKind, SegmentKind};
use plumeline_job::{
    Kind,
    pipework::{import_csv, parse},
};
use proptest::prelude::*;

const SHEET: &str = include_str!("../../../docs/examples/holes.csv");
const FAN: &str = "\n[unit.fan]\ncurve = [[\"0 L/min\", \"300 Pa\"], [\"100 L/min\", \"100 Pa\"]]\n";

#[test]
fn a_sheet_and_back() {
    let text = import_csv("holes.csv", SHEET.as_bytes()).unwrap_or_else(|p| panic!("{}", p.render(false)));
    insta::assert_snapshot!(text);
    let p = parse("pipework.toml", (text + FAN).as_bytes()).unwrap_or_else(|p| panic!("{}", p.render(false))).pipework;
    let owned = p.openings_by_inlet();
    // A blind cap closes the pipe whose sheet ends in a hole.
    assert_eq!((owned[0].len(), owned[1].len()), (4, 4));
    let length: f64 = p.segments.iter().filter(|s| s.kind == SegmentKind::Pipe).map(|s| s.length_m).sum();
    assert!((length - (14.5 + 30.0 * 0.3048)).abs() < 1e-5, "{length}");
    assert_eq!(p.openings[3].kind, OpeningKind::EndCap);
    assert!(!p.openings[2].reachable);
    assert!(p.segments.iter().any(|s| s.kind == SegmentKind::Capillary && s.length_m == 1.2));
}

#[test]
fn feet_inches_and_semicolons() {
    let sheet = "pipe;hole;distance_ft;diameter_in\n1;1;10;1/8\n1;2;20;\"1/8\"\n";
    let p = parse("p", (import_csv("s", sheet.as_bytes()).unwrap() + FAN).as_bytes()).unwrap().pipework;
    assert_eq!(p.openings[0].diameter_m, 0.003_175);
    assert!((p.segments[1].length_m - 3.048).abs() < 1e-9);
}

#[test]
fn refusals_name_the_cell() {
    let head = "pipe,hole,distance_m,diameter_mm";
    for (sheet, kind, line, column) in [
        (String::new(), Kind::MissingKey, 1, 1),
        ("pipe,hole,distance_m\n".into(), Kind::MissingKey, 1, 1),
        ("pipe,hole,distanc_m,diameter_mm\n".into(), Kind::UnknownKey, 1, 11),
        (format!("{head}\n1,1,2\n"), Kind::Syntax, 2, 1),
        (format!("{head}\n1,1,-2,3\n"), Kind::Range, 2, 5),
        (format!("{head}\n1,1,2,300\n"), Kind::Range, 2, 7),
        (format!("{head}\n9,1,2,3\n"), Kind::Range, 2, 1),
        (format!("{head}\n1,1,2 Pa,3\n"), Kind::Unit, 2, 5),
        (format!("{head}\n1,1,2,3\n1,1,4,3\n"), Kind::Duplicate, 3, 1),
        (format!("{head}\n1,1,4,3\n1,2,2,3\n"), Kind::Range, 3, 1),
        (format!("{head}\n1,1,\"2,3\n"), Kind::Syntax, 2, 5),
        (format!("{head}\n1,1,,3\n"), Kind::MissingKey, 2, 1),
        (format!("{head},kind\n1,1,2,3,cap\n1,2,3,3,cap\n"), Kind::UnknownName, 2, 9),
    ] {
        let p = import_csv("holes.csv", sheet.as_bytes()).unwrap_err();
        let place = p.place().unwrap();
        assert_eq!((p.kind(), place.line, place.column), (kind, line, column), "{sheet:?}: {p}");
    }
}

proptest! {
    #[test]
    fn no_bytes_panic(junk in "[0-9a-z,;\"\\r\\n .-]{0,80}", bytes in prop::collection::vec(any::<u8>(), 0..80)) {
        let _ = import_csv("s", &bytes);
        if let Ok(text) = import_csv("s", format!("pipe,hole,distance_m,diameter_mm\n{junk}").as_bytes()) {
            // What was accepted is a file that reads, but for what a sheet can't say.
            if let Err(p) = parse("p", (text.clone() + FAN).as_bytes()) {
                prop_assert!(p.cause().contains("has no pipe") || p.kind() == Kind::Range, "{p}\n{text}");
            }
        }
    }
}
