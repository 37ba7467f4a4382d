//! What a description says of a unit's display: read, and each slip told with its place and a remedy.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test ends where something is not as it should be")]
use plumeline_detector::{
    display::Lamp,
    vocabulary::{FlowBasis, ReadingsBy},
};
use plumeline_job::description::{SHIPPED, parse};

fn model_f() -> &'static str {
    SHIPPED.iter().find(|(name, _)| *name == "model-f").unwrap().1
}

#[test]
fn a_unit_that_only_shows_what_it_does_is_read() {
    let d = parse("model-f.toml", model_f().as_bytes()).unwrap();
    assert!(d.is_by_hand());
    let face = d.face();
    let can = face.abilities(2);
    assert_eq!((can.readings, can.flow_basis, can.flow_step_nl_s), (ReadingsBy::Asking, FlowBasis::Share, 10_000_000));
    assert!(can.read_settings && can.write_settings && can.baseline && can.drive_outputs && can.restart);
    assert!(!can.wall_clock && !can.event_log && !can.clock);
    assert!(face.shows.lamps.contains(&("AIR 2".into(), Lamp::Flow { inlet: 2, low: true, high: true })));
    // Settings of one kind stand together, in the model's own words.
    let keys: Vec<&str> = face.items_of(2).map(|i| i.key.as_str()).collect();
    assert_eq!(keys[..4], ["name", "pipe-1", "pipe-2", "al-1"]);
    for (name, text) in SHIPPED {
        assert_eq!(parse(name, text.as_bytes()).unwrap().is_by_hand(), name == "model-f");
    }
}

/// The message for model-f with one thing changed.
fn message(from: &str, to: &str) -> String {
    assert!(model_f().contains(from), "{from}");
    match parse("unit.toml", model_f().replacen(from, to, 1).as_bytes()) {
        Ok(_) => panic!("accepted: {to}"),
        Err(problem) => problem.render(false),
    }
}

#[test]
fn slips_are_told_with_place_and_remedy() {
    for (from, to, parts) in [
        ("unit = \"%\", step = 1, range", "unit = \"furlong\", step = 1, range", ["no unit of a flow", "L/min"]),
        ("unit = \"%\", step = 1, range", "unit = \"%\", step = 0, range", ["this is no step", "over 0"]),
        ("range = [0, 250], renewed", "range = [250, 0], renewed", ["this is no range", "[least, greatest]"]),
        ("FAULT = \"fault\"\n", "", ["none that is lit at any fault", "FAULT = \"fault\""]),
        ("\"flow 4\"", "\"flow 5\"", ["beyond what the unit has", "inlets"]),
        ("\"flow 4\"", "\"wind 4\"", ["nothing that a lamp stands for", "flow 1 low"]),
        ("\"AIR 4\" =", "\"AIR, 4\" =", ["no name that a person could type", "without commas"]),
        ("\"AIR 4\" =", "none =", ["no name that a person could type", "not \"none\""]),
        ("\"key RESET\"", "\" \"", ["does not say how", "what a person does"]),
        ("settings = true\n", "", ["the display shows nothing of it", "settings = true"]),
        ("test_output = \"menu TEST, the output's number\"\n", "", ["operated for test", "test_output"]),
        ("unit = \"%/m\", step = 0.001", "unit = \"Pa\", step = 0.001", ["no unit of obscuration", "%/ft"]),
        ("renewed = \"2 s\"", "for = \"some inlets\"", ["what a number stands for", "each inlet"]),
        ("renewed = \"2 s\"", "renewed = \"2 h\"", ["out of range", "600 s"]),
        ("flow_reading = \"actual\"", "flow_reading = \"reference\"", ["which conditions", "reference_temperature"]),
        ("renewed = \"2 s\"", "reference_pressure = \"1 bar\"", ["does not refer to reference", "take it out"]),
        ("takes = \"text\"", "takes = \"bytes\"", ["can't be told", "takes"]),
        (
            "means = \"label.site\"\ntakes = \"text\"\nlongest = 32\ndefault = \"\"",
            "means = \"vendor\"\ntakes = \"bytes\"",
            ["nobody can read these bytes", "take the item out"],
        ),
        ("reset = \"key", "rest = \"key", ["no key `rest`", "reset"]),
    ] {
        let message = message(from, to);
        assert!(message.contains("unit.toml:"), "{message}");
        assert!(parts.iter().all(|part| message.contains(part)), "{to}: {message}");
    }
}
