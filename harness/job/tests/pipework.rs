//! What a pipework file means, checked by hand-counted geometry; and that no text whatever makes the reader panic.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test ends where something is not as it should be")]
use plumeline_base::pipework::{Basis, Drive, OpeningKind, Pipework, SegmentKind};
use plumeline_job::{
    Kind,
    pipework::{FrictionChoice, PipeworkFile, parse},
};
use proptest::prelude::*;

const SIMPLE: &str = include_str!("../../../docs/examples/pipework-simple.toml");
const FULL: &str = include_str!("../../../docs/examples/pipework-full.toml");
const NETWORK: &str = include_str!("../../../docs/examples/pipework-network.toml");

fn read(text: &str) -> PipeworkFile {
    parse("pipework.toml", text.as_bytes()).unwrap_or_else(|p| panic!("{}", p.render(false)))
}

/// Length of pipe from an inlet's node to each opening, by the shortest way.
fn distances(p: &Pipework, inlet: usize) -> Vec<f64> {
    let mut far = vec![f64::INFINITY; p.nodes.len()];
    far[p.inlets[inlet].node.unwrap() as usize] = 0.0;
    for _ in 0..p.nodes.len() {
        for s in &p.segments {
            let (a, b) = (s.near as usize, s.far as usize);
            far[b] = far[b].min(far[a] + s.length_m);
            far[a] = far[a].min(far[b] + s.length_m);
        }
    }
    p.openings.iter().map(|o| far[o.node as usize]).collect()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn the_usual_case() {
    let file = read(SIMPLE);
    let p = &file.pipework;
    assert_eq!(p.inlets.len(), 1);
    assert_eq!(p.openings.len(), 10);
    assert_eq!(p.openings.iter().map(|o| o.number).collect::<Vec<_>>(), (1..=10).collect::<Vec<_>>());
    for (i, d) in distances(p, 0).iter().enumerate() {
        assert!(near(*d, 6.0 + 4.0 * (i + 1) as f64), "hole {i}: {d} m");
    }
    let cap = &p.openings[9];
    assert_eq!((cap.kind, cap.diameter_m), (OpeningKind::EndCap, 0.004));
    assert!(p.openings[..9].iter().all(|o| o.kind == OpeningKind::Hole && o.diameter_m == 0.003 && o.reachable));
    assert!(p.segments.iter().all(|s| s.bore_m == 0.021));
    assert_eq!(p.segments[0].minor_k, 1.5, "two elbows of 0.75 on the pipe before them");
    assert!(p.nodes[1..].iter().all(|n| n.elevation_m == 2.4));
    let Drive::Fan(fan) = &p.unit.drive else { panic!("no fan") };
    assert!(near(fan.curve[1].flow_m3_s * 60_000.0, 40.0));
    assert_eq!((fan.speed, fan.reference_density), (1.0, 1.2));
    assert_eq!(file.model.friction, FrictionChoice::Churchill);
    assert!(file.model.momentum);
    assert_eq!(p.known.len(), 3);
    assert_eq!(p.known[usize::from(p.openings[0].known)].basis, Basis::Assumed);
    insta::assert_snapshot!(file.notes.join("\n"));
}

#[test]
fn every_key_of_the_usual_form() {
    let p = read(FULL).pipework;
    assert_eq!(
        p.inlets.iter().map(|i| (i.number, i.node.is_some())).collect::<Vec<_>>(),
        [(1, true), (2, true), (3, false), (4, false)]
    );
    let owned = p.openings_by_inlet();
    assert_eq!((owned[0].len(), owned[1].len(), owned[2].len()), (9, 6, 0));
    let d = distances(&p, 0);
    let up = 12.0 * 0.3048;
    for (i, along) in [1.0, 4.5, 8.0, 11.5, 13.5 + 1.5, 14.5, 17.5, 17.5, 16.5].iter().enumerate() {
        assert!(near(d[i], up + along), "hole {}: {} m", i + 1, d[i]);
    }
    let first = &p.segments[0];
    assert!(near(first.bore_m, 0.824 * 0.0254) && near(first.minor_k, 0.3 + 2.5));
    assert!(near(p.nodes[first.far as usize].elevation_m, 3.048));
    let drop = p.segments.iter().find(|s| s.kind == SegmentKind::Capillary).unwrap();
    assert!(near(p.nodes[drop.far as usize].elevation_m, 1.548));
    assert_eq!(drop.far, p.openings[4].node);
    let o = &p.openings;
    assert!(!o[2].reachable);
    assert_eq!((o[5].diameter_m, o[5].outside_pa), (0.0033, -1.5));
    assert_eq!(p.known[usize::from(o[5].known)].basis, Basis::Assumed);
    assert_eq!(p.known[usize::from(o[4].known)].basis, Basis::Surveyed);
    assert_eq!((o[7].kind, o[7].diameter_m), (OpeningKind::EndCap, 0.0));
    assert!(near(p.known[0].diameter.common, 0.01));
    assert!(near(p.known[1].diameter.common, 0.025), "the preset where the file says nothing");
    // The branch begins with the tee's branch loss and goes on by the run's loss.
    let tee = p.segments.iter().find(|s| near(s.bore_m, 0.016)).unwrap();
    assert_eq!(tee.minor_k, 1.5);
    assert!(p.segments.iter().any(|s| s.near == tee.near && s.minor_k == 0.5));
    // From 27 mm to 21 mm: air comes from the smaller, (1 - beta^2)^2 on the smaller, twice: both ways of the ring.
    let ring = p.inlets[1].node.unwrap();
    let way = p.segments.iter().find(|s| s.near == ring).unwrap();
    assert_eq!(way.bore_m, 0.027);
    let beta2 = (21.0f64 / 27.0).powi(2);
    let start = p.segments.iter().find(|s| s.near == way.far).unwrap();
    assert!(near(start.minor_k, (1.0 - beta2).powi(2)));
    let end = p.segments.last().unwrap();
    assert_eq!((end.far, end.minor_k), (way.far, 1.5));
    assert_eq!(end.air_temperature_c, Some(-24.0));
    assert!(near(p.unit.loss.quadratic * (0.1f64 / 60.0).powi(2), 18.0));
    assert!(near(p.unit.loss.linear * (0.1 / 60.0), 9.0));
    // ISO 2533: about 963.8 hPa at 420 m.
    assert!((p.air.pressure_pa - 96_380.0).abs() < 50.0, "{}", p.air.pressure_pa);
    assert!((p.air.temperature_c - 17.777_777_8).abs() < 1e-6);
}

#[test]
fn nodes_and_segments() {
    let file = read(NETWORK);
    let p = &file.pipework;
    assert_eq!((p.nodes.len(), p.segments.len(), p.openings.len()), (3, 3, 2));
    assert_eq!(p.unit.drive, Drive::InletSuction(vec![120.0, 118.0]));
    let given = p.air.given.unwrap();
    assert!(near(given.density, 1.204) && near(given.viscosity, 18.2e-6));
    assert_eq!(file.model.friction, FrictionChoice::HagenDunlopSwameeJain);
    assert!(!file.model.momentum);
    assert!(near(p.segments[0].minor_k, 0.34));
}

#[test]
fn what_people_call_the_holes() {
    let file = read(FULL);
    let of = |p: &Pipework, k: usize| {
        let w = &p.openings[k].whereabouts;
        (w.label.clone(), w.place.clone())
    };
    let text = |label: &str, place: &str| (label.to_owned(), place.to_owned());
    let p = &file.pipework;
    assert_eq!(of(p, 0), text("B1", "loading bay, above dock 1"));
    assert_eq!(of(p, 3), text("B4", "loading bay, above dock 4"));
    assert_eq!(of(p, 4), text("", "office, on the ceiling"), "of one hole");
    assert_eq!(
        (of(p, 5), of(p, 6)),
        (text("", "battery room"), text("B7", "battery room, above the charger")),
        "one for both, and one that differs"
    );
    assert_eq!(of(p, 8), text("", ""));
    assert_eq!(of(&read(NETWORK).pipework, 1), text("R2", "plant room, behind the duct"));
    assert!(
        read(SIMPLE).pipework.openings.iter().all(|o| o.whereabouts.words().is_empty()),
        "a file without them still reads"
    );
}

#[test]
fn the_way_that_is_walked() {
    let numbers = |p: &Pipework| -> Vec<(u8, Vec<u32>)> {
        let of = |all: Vec<usize>| all.into_iter().map(|k| p.openings[k].number).collect();
        p.walking_order().into_iter().map(|(i, all)| (p.inlets[i].number, of(all))).collect()
    };
    // A run with a branch, a drop tube and a ring, by its numbers.
    let p = read(FULL).pipework;
    assert_eq!(p.walk, []);
    assert_eq!(numbers(&p), [(1, (1..=9).collect()), (2, (1..=6).collect())]);
    let walk = "format = 1\nwalk = [{ inlet = 2 }, { inlet = 1, holes = [9, 2] }]";
    let p = read(&FULL.replacen("format = 1", walk, 1)).pipework;
    assert_eq!(numbers(&p), [(2, (1..=6).collect()), (1, vec![9, 2, 1, 3, 4, 5, 6, 7, 8])]);
}

#[test]
fn sizes_are_bounded() {
    let many = SIMPLE.replace("holes = 9", "holes = 100000");
    assert_eq!(parse("p", many.as_bytes()).unwrap_err().kind(), Kind::TooLarge);
    let most = SIMPLE.replace("holes = 9", "holes = 99999").replace("every = \"4 m\"", "every = \"20 mm\"");
    assert_eq!(read(&most).pipework.openings.len(), 100_000);
    let deep = SIMPLE.replace("{ cap", &format!("{}{}{{ cap", "{ branch = [".repeat(40), "] },".repeat(40)));
    let e = parse("p", deep.as_bytes()).unwrap_err();
    assert!(matches!(e.kind(), Kind::TooLarge | Kind::Syntax | Kind::MissingKey), "{e}");
    let nested = format!("format = {}", "[".repeat(1_000_000));
    assert!(parse("p", nested.as_bytes()).is_err());
}

/// Splices pieces of good files together, so that much of what is tried is nearly right.
fn spliced() -> impl Strategy<Value = Vec<u8>> {
    let pick = prop::sample::select(vec![SIMPLE, FULL, NETWORK]);
    (
        pick.clone(),
        pick,
        any::<prop::sample::Index>(),
        any::<prop::sample::Index>(),
        prop::collection::vec(any::<u8>(), 0..6),
    )
        .prop_map(|(a, b, i, j, junk)| {
            let (a, b) = (a.as_bytes(), b.as_bytes());
            [&a[..i.index(a.len())], &junk, &b[j.index(b.len())..]].concat()
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]
    #[test]
    fn no_bytes_panic(bytes in prop_oneof![prop::collection::vec(any::<u8>(), 0..200), spliced()]) {
        match parse("p", &bytes) {
            Ok(file) => prop_assert!(file.pipework.openings.iter().all(|o| (o.node as usize) < file.pipework.nodes.len())),
            Err(p) => {
                prop_assert!(!p.remedy().is_empty());
                prop_assert!(p.render(false).contains(p.remedy()));
            }
        }
    }
}
