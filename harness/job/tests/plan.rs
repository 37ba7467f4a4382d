//! What a plan file means, and that no text whatever makes the reader panic.
#![expect(clippy::panic, reason = "a test ends where something is not as it should be")]
use plumeline_job::{
    Kind,
    pipework::{self, PipeworkFile},
    plan::{PlanFile, TEMPLATE, parse},
};
use plumeline_procedure::instrument::Measurand;
use plumeline_procedure::plan::{HoleChoice, HoleRef, Mark, Policy, ReleaseMark};
use proptest::prelude::*;

fn pipes(text: &str) -> PipeworkFile {
    pipework::parse("pipework.toml", text.as_bytes()).unwrap_or_else(|p| panic!("{}", p.render(false)))
}
fn template_pipes() -> PipeworkFile {
    pipes(pipework::TEMPLATE)
}
fn read(text: &str) -> PlanFile {
    parse("plan.toml", text.as_bytes(), &template_pipes().pipework).unwrap_or_else(|p| panic!("{}", p.render(false)))
}
const LEAST: &str = "format = 1\nsite = \"S\"\ntechnician = \"T\"\n";

#[test]
fn the_template_is_what_an_empty_plan_means() {
    let template = read(TEMPLATE).plan;
    let least = read(LEAST).plan;
    // What the template says beyond the defaults: an outgoing unit, three runs, the checklist, the names.
    assert_eq!(least.stages, template.stages);
    assert_eq!(least.limits, template.limits);
    assert_eq!(least.settle, template.settle);
    assert_eq!(least.flow, template.flow);
    assert_eq!(least.holes, template.holes);
    assert_eq!(least.rule, template.rule);
    assert_eq!(least.supply, template.supply);
    assert_eq!(least.outputs.wires, template.outputs.wires);
    assert_eq!(least.link, template.link);
    assert_eq!(least.advanced, template.advanced);
    assert_eq!(least.smoke.at, template.smoke.at);
    assert_eq!((least.smoke.runs, template.smoke.runs), (1, 3));
    assert_eq!(least.smoke.mark_u_s, template.smoke.mark_u_s);
    assert!(template.outgoing.is_some() && least.outgoing.is_none());
    assert!(template.checklist.iter().filter(|c| c.required).count() >= 6);
}

#[test]
fn limits_carry_their_source() {
    let plan = read(&format!(
        "{LEAST}[limits]\ntransport = \"NFPA 76 very early warning\"\nboot = \"2 min\"\nlast_hole_suction = {{ value = \"0.1 inH2O\", source = \"site standard 7\" }}\n"
    ))
    .plan;
    let l = &plan.limits;
    assert_eq!((l.transport.value, l.transport.unit.as_str(), l.transport.mark), (60.0, "s", Mark::FromMemory));
    assert_eq!((l.boot.value, l.boot.mark), (120.0, Mark::ThisJob));
    assert!((l.last_hole_suction.value - 24.908_89).abs() < 1e-9);
    assert_eq!(l.last_hole_suction.source, "site standard 7");
    assert_eq!((l.out_of_service.value, l.out_of_service.mark), (14_400.0, Mark::FromMemory));
    assert_eq!((l.transport_agreement.value, l.transport_agreement.mark), (0.15, Mark::CommonPractice));
}

#[test]
fn supply_outputs_and_hand_work_are_read() {
    let text = format!(
        "{LEAST}[replacement]\nfirmware = \"4.0.1\"\nzone = \"-03:30\"\n[supply]\nbattery = \"7 Ah\"\ncalculation = \"NFPA 72\"\nother_alarm = \"120 mA\"\n[outputs]\nlapse = true\n[[outputs.wire]]\noutput = 2\nfunction = \"alarm-1\"\ninput = 1\n[[checklist]]\nstage = \"swap\"\ntext = \"x\"\nafter = true\n"
    );
    let plan = read(&text).plan;
    assert_eq!(plan.replacement.zone_min, Some(-210));
    assert_eq!((plan.supply.fitted_ah, plan.supply.other_alarm_a), (Some(7.0), 0.12));
    let rule = &plan.supply.rule;
    assert_eq!((rule.standby_h, rule.derating, rule.margin, rule.mark), (24.0, 1.0, 1.2, Mark::FromMemory));
    assert!((rule.alarm_h - 5.0 / 60.0).abs() < 1e-12);
    assert!(plan.outputs.lapse && plan.checklist[0].after && !plan.checklist[0].required);
    assert_eq!((plan.outputs.wires[0].output, plan.outputs.wires[0].input), (2, Some(1)));
    // A value of the job's own is marked as such.
    let rule = read(&format!("{LEAST}[supply]\nstandby = \"72 h\"\n")).plan.supply.rule;
    assert_eq!((rule.standby_h, rule.alarm_h, rule.mark), (72.0, 0.5, Mark::ThisJob));
    for (bad, kind) in [
        ("[supply]\ncalculation = \"by eye\"\n", Kind::UnknownName),
        ("[supply]\nbattery = \"7 A\"\n", Kind::Unit),
        ("[replacement]\nzone = \"CET\"\n", Kind::Syntax),
        (
            "[[outputs.wire]]\noutput = 1\nfunction = \"a\"\n[[outputs.wire]]\noutput = 1\nfunction = \"b\"\n",
            Kind::Duplicate,
        ),
        ("[[outputs.wire]]\noutput = 0\nfunction = \"a\"\n", Kind::Range),
    ] {
        let e = parse("plan.toml", format!("{LEAST}{bad}").as_bytes(), &template_pipes().pipework);
        assert_eq!(e.map(|_| ()).map_err(|e| e.kind()), Err(kind), "{bad}");
    }
}

#[test]
fn the_farthest_opening_is_by_length_of_pipe() {
    assert_eq!(read(LEAST).plan.smoke.at, [HoleRef { inlet: 1, number: 10 }]);
    // The branch is shorter than the rest of the run; the blind cap draws nothing.
    let full = pipes(include_str!("../../../docs/examples/pipework-full.toml"));
    let plan = parse("plan.toml", LEAST.as_bytes(), &full.pipework).unwrap_or_else(|p| panic!("{p}"));
    // Around the ring of 35 m, holes 3 and 4 are both 15 m from its start.
    assert_eq!(plan.plan.smoke.at, [HoleRef { inlet: 1, number: 7 }, HoleRef { inlet: 2, number: 4 }]);
}

#[test]
fn holes_and_stages_by_name() {
    let text = format!(
        "{LEAST}stages = [{{ stage = \"isolate\" }}, {{ stage = \"prove-smoke\", policy = \"skip\", deadline = \"1 h\" }}, {{ stage = \"restore\" }}]\n[holes]\nwhich = [{{ inlet = 1, hole = 9 }}]\n[smoke]\nmark = \"by-radio\"\n"
    );
    let plan = read(&text).plan;
    assert_eq!(plan.stages.len(), 3);
    assert_eq!((plan.stages[1].policy, plan.stages[1].deadline_s), (Policy::Skip, 3600));
    assert_eq!((plan.stages[0].policy, plan.stages[0].deadline_s), (Policy::Stop, 3600));
    assert_eq!(plan.holes.choice, HoleChoice::These(vec![HoleRef { inlet: 1, number: 9 }]));
    assert_eq!(plan.smoke.mark, ReleaseMark::ByRadio);
}

/// Without any risk no verdict could ever be shown.
#[test]
fn a_risk_of_nothing_is_refused() {
    for (risk, range) in [("0 %", true), ("0.1 %", false), ("50 %", false), ("51 %", true)] {
        for name in ["accept_risk", "reject_risk"] {
            let text = format!("{LEAST}[rule]\n{name} = \"{risk}\"\n");
            let e = parse("plan.toml", text.as_bytes(), &template_pipes().pipework);
            assert_eq!(e.is_err_and(|e| e.kind() == Kind::Range), range, "{name} {risk}");
        }
    }
}

#[test]
fn nothing_risky_without_isolation() {
    for (stages, kind) in [
        ("[{ stage = \"load\" }]", Kind::Conflict),
        ("[{ stage = \"isolate\", policy = \"skip\" }, { stage = \"load\" }, { stage = \"restore\" }]", Kind::Conflict),
        ("[{ stage = \"isolate\" }, { stage = \"load\" }]", Kind::Conflict),
        ("[{ stage = \"load\" }, { stage = \"isolate\" }]", Kind::Conflict),
        ("[{ stage = \"isolate\" }, { stage = \"isolate\" }]", Kind::Conflict),
    ] {
        let text = format!("{LEAST}stages = {stages}\n");
        let e = parse("plan.toml", text.as_bytes(), &template_pipes().pipework);
        assert_eq!(e.map(|_| ()).map_err(|e| e.kind()), Err(kind), "{stages}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn no_bytes_panic(
        cut in any::<prop::sample::Index>(),
        from in any::<prop::sample::Index>(),
        junk in prop::collection::vec(any::<u8>(), 0..8),
        noise in prop::collection::vec(any::<u8>(), 0..200),
    ) {
        let pipes = template_pipes().pipework;
        let t = TEMPLATE.as_bytes();
        for bytes in [noise, [&t[..cut.index(t.len())], &junk, &t[from.index(t.len())..]].concat()] {
            if let Err(p) = parse("plan.toml", &bytes, &pipes) {
                prop_assert!(!p.cause().is_empty() && !p.remedy().is_empty());
            }
        }
    }
}

const METER: &str = "[[instruments]]\nname = \"M\"\nkind = \"multimeter\"\nserial = \"7\"\nunit = \"mA\"\nrange = [0.0, 2000.0]\nresolution = 1.0\nuncertainty = 2.0\nrelative_uncertainty = \"0.5 %\"\ncalibrated = \"2026-03-02\"\ndue = \"2027-03-02\"\n";

#[test]
fn instruments_are_read_with_their_certificates() {
    let plan = read(&format!("{LEAST}{METER}")).plan;
    let [meter] = plan.instruments.as_slice() else { panic!("{:?}", plan.instruments) };
    assert_eq!((meter.measures, meter.si, meter.u, meter.u_relative), (Measurand::Current, 1e-3, 2.0, 0.005));
    assert_eq!(meter.scale.step, Some(1.0));
    // 2026-03-02 is day 20514 since 1970.
    assert_eq!(meter.calibrated.begins_ms, 20_514 * 86_400_000);
    for (from, to, kind) in [
        ("\"mA\"", "\"Pa\"", Kind::Range),
        ("\"mA\"", "\"furlong\"", Kind::UnknownName),
        ("multimeter", "ruler", Kind::UnknownName),
        ("[0.0, 2000.0]", "[5.0, 5.0]", Kind::Range),
        ("resolution = 1.0", "resolution = 0.0", Kind::Range),
        ("uncertainty = 2.0\nrelative_uncertainty = \"0.5 %\"\n", "", Kind::Range),
        ("2026-03-02", "2026-02-30", Kind::Syntax),
        ("2027-03-02", "2025-03-02", Kind::Range),
        ("2026-03-02", "2 March", Kind::Syntax),
    ] {
        let text = format!("{LEAST}{}", METER.replacen(from, to, 1));
        let problem = parse("plan.toml", text.as_bytes(), &template_pipes().pipework).unwrap_err();
        assert_eq!(problem.kind(), kind, "{from} {to}: {}", problem.render(false));
    }
    // A logger says how often it stores a reading, and how its files are to be read.
    let logger =
        METER.replace("multimeter", "logger").replace("\"mA\"", "\"%/m\"").replace("[0.0, 2000.0]", "[0.0, 20.0]");
    let stored = logger.replace(
        "serial",
        "interval = \"2 s\"\nlag = \"500 ms\"\nfile = { column = \"smoke\", dates = \"day-first\" }\nserial",
    );
    let plan = read(&format!("{LEAST}{}", stored.replace("resolution = 1.0", "resolution = 0.001"))).plan;
    let stores = plan.logger().unwrap().stores.clone().unwrap();
    assert_eq!((stores.interval_s, stores.lag_s), (2.0, 0.5));
    assert_eq!((stores.column.as_deref(), stores.dates.as_deref()), (Some("smoke"), Some("day-first")));
    for (text, kind) in [
        (logger.clone(), Kind::MissingKey),
        (stored.replace("2 s", "5 s"), Kind::Conflict),
        (stored.replace("day-first", "backwards"), Kind::UnknownName),
        (stored.replace("%/m", "V"), Kind::Range),
        (METER.replace("serial", "interval = \"1 s\"\nserial"), Kind::Range),
        (format!("{stored}{}", stored.replace("\"M\"", "\"N\"")), Kind::Duplicate),
    ] {
        let problem = parse("plan.toml", format!("{LEAST}{text}").as_bytes(), &template_pipes().pipework).unwrap_err();
        assert_eq!(problem.kind(), kind, "{text}: {}", problem.render(false));
    }
    // A flow meter may sit at the exhaust, one of them; what measures no flow sits nowhere.
    let flow = METER.replace("multimeter", "flow meter").replace("\"mA\"", "\"L/min\"");
    let at = |name: &str, place: &str| flow.replace("name = \"M\"", &format!("name = \"{name}\"\nat = \"{place}\""));
    let parsed = |tables: &str| parse("plan.toml", format!("{LEAST}{tables}").as_bytes(), &template_pipes().pipework);
    let exhaust = parsed(&format!("{}{}", at("A", "inlet"), at("B", "exhaust"))).unwrap().plan;
    assert_eq!(exhaust.exhaust_meter().map(|i| i.name.as_str()), Some("B"));
    assert_eq!(
        exhaust.instrument(Measurand::Flow, None).map(|i| i.name.as_str()),
        Some("A"),
        "that one is no meter of a pipe"
    );
    assert_eq!(parsed(&at("A", "ceiling")).unwrap_err().kind(), Kind::UnknownName);
    assert_eq!(parsed(&format!("{}{}", at("A", "exhaust"), at("B", "exhaust"))).unwrap_err().kind(), Kind::Duplicate);
    assert_eq!(parsed(&METER.replace("serial", "at = \"exhaust\"\nserial")).unwrap_err().kind(), Kind::Range);
    let twice = format!("{LEAST}{METER}{METER}");
    assert!(parse("plan.toml", twice.as_bytes(), &template_pipes().pipework).is_err());
}
