//! Register maps in descriptions: what is wrong in one is said with its place, its cause and a remedy.
#![allow(clippy::unwrap_used, reason = "helpers of tests may panic")]
use plumeline_detector::{
    registers::map::Command,
    told::{Flag, Quantity},
};
use plumeline_job::{Kind, Problem, description};

fn shipped() -> &'static str {
    description::SHIPPED.iter().find(|(name, _)| *name == "model-g").unwrap().1
}
#[track_caller]
fn refused(from: &str, to: &str) -> Problem {
    assert!(shipped().contains(from), "{from}");
    let text = shipped().replacen(from, to, 1);
    let problem = description::parse("unit.toml", text.as_bytes()).unwrap_err();
    assert!(problem.place().is_some() && !problem.remedy().is_empty(), "{problem:?}");
    problem
}

#[test]
fn the_shipped_map_is_read_as_it_is_written() {
    let map = description::parse("model-g", shipped().as_bytes()).unwrap().registers.unwrap();
    assert_eq!((map.inlets(), map.bus.address, map.settings.len()), (8, 17, 29));
    assert!(map.settable && map.tells_starts() && map.tells_baseline());
    assert_eq!(map.number(Quantity::Flow(8)).unwrap().place.at, 7);
    assert_eq!(map.flag(Flag::Level(3)).unwrap().at, 24);
    assert_eq!(map.command(Command::Drive(4)).unwrap().place.at, 13);
    let delay = map.settings.iter().find(|s| s.key == "alarm.2.delay").unwrap();
    assert_eq!((delay.place.at, delay.unit.as_deref()), (1005, Some("s")));
}

#[test]
fn every_mistake_has_a_place_and_a_remedy() {
    let flow = "means = \"flow.{n}\"\nn = \"inlets\"\nfunction = \"input\"\naddress = 0\ntype = \"u16\"\nscale = 0.01\nunit = \"L/min\"";
    let with = |from: &str, to: &str| refused(flow, &flow.replacen(from, to, 1));
    let mut other = Vec::new();
    let mut says = |p: Problem, kind: Kind, cause: &str, remedy: &str| {
        if p.kind() != kind || !p.cause().contains(cause) || !p.remedy().contains(remedy) {
            other.push(format!("{:?} {} ({})", p.kind(), p.cause(), p.remedy()));
        }
    };
    says(with("L/min", "L/week"), Kind::Unit, "can't be stated in `L/week`", "L/min");
    says(with("L/min", "m/s"), Kind::MissingKey, "no flow without a bore", "bore = ");
    says(with("unit = \"L/min\"", ""), Kind::MissingKey, "needs its unit", "m3/h");
    says(with("\"input\"", "\"coil\""), Kind::Conflict, "single bits", "\"input\" or \"holding\"");
    says(with("\"input\"", "\"inputs\""), Kind::UnknownName, "did you mean \"input\"", "coil");
    says(with("\"u16\"", "\"text\""), Kind::MissingKey, "how long the text is", "registers = 8");
    says(with("\"u16\"", "\"u12\""), Kind::UnknownName, "is not a type", "u16");
    says(with("address = 0", "address = 65533"), Kind::Range, "beyond the last address", "address");
    says(with("scale = 0.01", "scale = 0"), Kind::Range, "scale of 0", "what one count is");
    says(with("flow.{n}", "flaw.{n}"), Kind::UnknownName, "did you mean \"flow.{n}\"", "smoke");
    says(with("address = 0", "address = 3"), Kind::Conflict, "where flow.6 stands already", "addresses");
    // An overlap is told at the later of the two.
    says(
        refused(
            "does = \"restart\"\nfunction = \"coil\"\naddress = 2",
            "does = \"restart\"\nfunction = \"coil\"\naddress = 1",
        ),
        Kind::Conflict,
        "where reset stands already",
        "address",
    );
    says(refused("protocol = \"rtu\"", "protocol = \"rto\""), Kind::UnknownName, "did you mean \"rtu\"", "tcp");
    says(refused("address = 17", "address = 248"), Kind::Range, "248", "1 to 247");
    says(refused("every = \"500 ms\"", "every = \"1 ms\""), Kind::Range, "period", "50 ms");
    says(
        refused("every = \"500 ms\"", "every = \"500 ms\"\nmost = 4"),
        Kind::Conflict,
        "one request at most 4",
        "`most`",
    );
    says(refused("0 = \"fault.flow\"", "16 = \"fault.flow\""), Kind::Range, "0 to 15", "correct the number");
    says(
        refused("0 = \"level.1\"", "0 = \"level.4\""),
        Kind::UnknownName,
        "nothing that a bit of this unit means",
        "faults are",
    );
    says(refused("1 = \"level.2\"", "1 = \"level.1\""), Kind::Duplicate, "stands twice", "keep one");
    says(
        refused("key = \"learning.on\"\nfunction", "key = \"learning.om\"\nfunction"),
        Kind::UnknownName,
        "did you mean `learning.on`",
        "correct the key",
    );
    says(
        refused(
            "does = \"inhibit\"\nfunction = \"holding\"\naddress = 20",
            "does = \"inhibit\"\nfunction = \"coil\"\naddress = 20",
        ),
        Kind::Conflict,
        "until somebody ends it",
        "how many seconds",
    );
    says(
        refused("does = \"drive output {n}\"\nn = 4", "does = \"drive output {n}\"\nn = 5"),
        Kind::Range,
        "5",
        "1 to 4",
    );
    says(
        refused("means = \"starts\"", "means = \"settings.revision\""),
        Kind::MissingKey,
        "nothing tells that it was made",
        "uptime",
    );
    says(
        refused("[[registers.value]]\nmeans = \"clock.zone\"", "[[registers.value]]\nmeans = \"uptime\""),
        Kind::MissingKey,
        "belong together",
        "both out",
    );
    says(refused("none = 4 }", "nil = 4 }"), Kind::MissingKey, "`none`", "words = { none = 0 }");
    let speed = "key = \"fan.speed\"\nfunction = \"holding\"\naddress = 1017\ntype = \"i32\"\nscale = 0.001";
    says(refused(speed, &speed.replace("0.001", "3")), Kind::Conflict, "steps of 1", "`scale`");
    says(refused(speed, &speed.replace("i32", "i16")), Kind::Conflict, "does not fit into this type", "wider");
    says(refused(speed, &speed.replace("i32", "u8")), Kind::UnknownName, "is not a type", "u16");
    says(refused(speed, &speed.replace("holding", "input")), Kind::Conflict, "can't be written", "holding");
    let start = shipped().find("[[registers.setting]]\nkey = \"learning.on\"").unwrap();
    let entry = &shipped()[start..start + shipped()[start..].find("\n[[registers.setting]]\nkey = \"output").unwrap()];
    says(refused(entry, ""), Kind::MissingKey, "not `learning.on`", "whole, or not at all");
    assert_eq!(other, [""; 0], "said otherwise");
}

/// One line of what is wrong, as a person sees it.
#[test]
fn a_message_points_at_the_line() {
    let text = refused("unit = \"L/min\"", "unit = \"L/week\"").render(false);
    assert!(
        text.contains("unit.toml:") && text.contains("unit = \"L/week\"") && text.contains("help: use one of"),
        "{text}"
    );
}
