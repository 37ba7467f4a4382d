//! What the page says, that it is well formed, and that nothing from outside gets through as markup.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "in tests a panic is the verdict")]

use plumeline_base::{Instant, Verdict};
use plumeline_procedure::outcome::{Figure, Finding, Outcome, StageKind, Statement, Subject};
use plumeline_report::{Record, html};
use quick_xml::{Reader, events::Event};

mod common;
use common::{Sample, aborted, all, clean, failed, undecided};

/// The page without markup, one space between texts; panics if tags do not nest. Only the declaration is not XML.
fn visible(page: &str) -> String {
    let xml = page.strip_prefix("<!DOCTYPE html>").expect("a declaration");
    let mut reader = Reader::from_str(xml);
    reader.config_mut().check_end_names = true;
    let (mut text, mut depth, mut style) = (String::new(), 0_i32, false);
    loop {
        match reader.read_event().unwrap_or_else(|e| panic!("{e} at {}", reader.buffer_position())) {
            Event::Start(t) => {
                depth += 1;
                text.push(' ');
                style = t.name().as_ref() == b"style";
                t.attributes().for_each(|a| drop(a.expect("attributes well formed, none twice")));
            }
            Event::End(_) => {
                depth -= 1;
                style = false;
                text.push(' ');
            }
            Event::Text(t) if !style => text.push_str(&t.decode().unwrap()),
            Event::GeneralRef(r) => match r.resolve_char_ref().unwrap() {
                Some(c) => text.push(c),
                None => text
                    .push_str(quick_xml::escape::resolve_xml_entity(&r.decode().unwrap()).expect("an entity of XML")),
            },
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn page(sample: &Sample) -> String {
    html(&sample.input()).unwrap()
}

/// What stands before the first section: the first screen.
fn first_screen(text: &str) -> &str {
    text.split("Smallest defect that this job could have missed").next().unwrap()
}

#[test]
fn a_failed_job_says_first_which_pipe_what_was_measured_and_what_to_do() {
    let text = visible(&page(&failed()));
    let first = first_screen(&text);
    for needed in [
        "FAIL",
        "Pipe 2: flow is 19.7 % less than predicted",
        "30.8 ± 1.1 L/min",
        "38.4 ± 2.6 L/min",
        "holes of this pipe are blocked or taped",
        "look at the inlet's number and at the holes of this pipe, nearest first",
        "NOT DONE airflow baseline, prove with smoke",
        "Local codes, the listing of the unit and a licensed person decide",
    ] {
        assert!(first.contains(needed), "{needed:?} not in {first}");
    }
    assert!(first.find("Pipe 2").unwrap() < first.find("Pipe 1").unwrap(), "the worst first");
    assert!(!first.contains("STILL ISOLATED"), "the zone was restored");
    assert!(!first.contains("PASS"));
}

#[test]
fn an_undecided_job_says_what_is_void_overridden_and_open() {
    let text = visible(&page(&undecided()));
    let first = first_screen(&text);
    for needed in [
        "UNDECIDED",
        "OVERRIDE Somebody chose to go on at \"airflow baseline\"",
        "R. Example: holes 4 and 5 are above the false ceiling",
        "BASELINE VOID The airflow baseline no longer counts: the cover was opened",
        "5 findings are undecided, which is not a pass",
        "LONG OUT OF SERVICE Out of service for 4 h 15 min; the limit is 14400 s (4 h 0 min) (NFPA 101)",
        "INVENTED SITE",
        "smoke from the end cap was not timed: no significant rise within 125 s",
    ] {
        assert!(first.contains(needed), "{needed:?} not in {first}");
    }
    assert!(text.contains("Pipe 3: openings not closed in turn, not shown to draw one by one: 4, 5"));
    assert!(text.contains("no readings for 13.0 s, because the unit does not answer"));
    assert!(text.contains("pipe 3: a blocked hole among 4, 5 (not closed in turn)"));
    assert!(text.contains("no time: no significant rise within 125 s"));
}

#[test]
fn an_aborted_job_says_that_the_zone_is_still_isolated() {
    let text = visible(&page(&aborted()));
    let first = first_screen(&text);
    for needed in [
        "STILL ISOLATED The zone was taken out of service and is not shown to be back",
        "ABORTED",
        "TROUBLE The job ended early because the port went away",
        "plug the cable in again",
        "Pipe 1 not done for it: prove the flow, prove with smoke",
    ] {
        assert!(first.contains(needed), "{needed:?} not in {first}");
    }
    assert!(text.contains("Any defect at all: the flow was never proven to the end."));
    assert!(text.contains("No smoke was released"));
}

#[test]
fn a_clean_job_passes_with_all_that_it_rests_on() {
    let text = visible(&page(&clean()));
    assert!(first_screen(&text).contains("PASS Everything that the plan asks for was shown"));
    for needed in [
        "Smallest defect that this job could have missed pipe 1: a change of its whole flow by less than 7.4 %",
        "NFPA 72, air-sampling detectors from memory, check the source",
        "common practice, no source",
        "5 of these limits were written down from memory",
        "risk 0.167 % for this test, shared out over 30 tests of the job",
        "99.71 %",
        "± 4.18 L/min off the expected",
        "Meadow Instruments M4 sampler, serial MI-000417, firmware 2.3.1",
        "Every stage was run to its end, and every opening of every pipe was closed in turn.",
        "Isolate at the panel and lock off every release circuit physically first",
        "0:46:00 09:48:10",
        "settings-as-found.json, as it was read",
        &"5a".repeat(32),
        "1 h 20 min (limit 14400 s (4 h 0 min), NFPA 101)",
    ] {
        assert!(text.contains(needed), "{needed:?}");
    }
    for loud in ["STILL ISOLATED", "UNDECIDED", "OVERRIDE", "VOID", "NOT DONE", "ABORTED", "CONTRADICTION"] {
        assert!(!text.contains(loud), "{loud}");
    }
}

#[test]
fn charts_show_smoke_and_flow_with_units_and_say_so_to_those_who_do_not_see() {
    let sample = clean();
    let page = page(&sample);
    for id in [
        "chart-job",
        "chart-settle-0",
        "chart-prove-flow-0",
        "chart-baseline-0",
        "chart-against-baseline-baseline",
        "chart-supervise-0",
        "chart-last-look-0",
        "chart-against-baseline-last-look",
        "chart-smoke-8",
    ] {
        assert_eq!(page.matches(&format!("id=\"{id}-t\"")).count(), 1, "{id}");
        assert!(page.contains(&format!("aria-labelledby=\"{id}-t {id}-d\"")));
    }
    assert_eq!(page.matches("class=\"chart\"").count(), 9 + 6 + 4);
    for needed in [
        "Obscuration, %/m",
        "s since the release",
        "limit 120 s",
        "a tenth of the plateau 47.40 ± 0.90 s",
        "predicted, half of the plateau 52.0 ± 4.1 s",
        "Pipe 1, L/min",
        "min since the log was opened",
        "baseline + 20 %",
    ] {
        assert!(page.contains(needed), "{needed}");
    }
    // Eleven seconds without readings after the start of the unit: two stretches in each of three panels.
    let job = page.split("id=\"chart-job-t\"").nth(1).unwrap().split("</svg>").next().unwrap();
    let lines: Vec<&str> = job.lines().filter(|l| l.contains("class=\"data\"")).collect();
    assert_eq!(lines.len(), 3);
    assert!(lines.iter().all(|l| l.matches('M').count() == 2), "the line is broken where no readings came");
}

#[test]
fn holes_stand_with_what_people_call_them() {
    let page = page(&clean());
    assert!(visible(&page).contains("Pipe 1 hole 2 labelled A2, \"store <b>room</b>\""), "{}", visible(&page));
    assert!(!page.contains("<b>room"));
}

#[test]
fn runs_set_aside_and_what_the_band_sees_are_shown() {
    let mut sample = clean();
    let run = &mut sample.outcome.smoke[0];
    (run.onset, run.half_plateau, run.set_aside) = (None, None, Some("a gust from the dock door".into()));
    let sees = "pipe 1: the smallest single defect that raises its flow fault is the end cap open to the pipe's bore";
    sample.outcome.band_sees = vec![Statement::new(Subject::Pipe(1), sees)];
    let text = visible(&page(&sample));
    assert!(text.contains("SET ASIDE before its result was known: a gust from the dock door"));
    assert!(
        text.contains("set aside before its result was known: a gust from the dock door. Obscuration"),
        "the chart"
    );
    assert!(text.contains(sees) && text.contains("The smallest defect that the unit's own supervision sees"));
}

#[test]
fn nothing_is_loaded_and_nothing_runs() {
    for sample in all() {
        let page = page(&sample);
        let links = page.replace("http://www.w3.org/2000/svg", "");
        for bad in
            ["<script", "http://", "https://", "@import", "url(", "<link", "<img", "<iframe", " onload", "javascript:"]
        {
            assert!(!links.contains(bad), "{bad} in {}", sample.name);
        }
        assert!(page.contains("<html lang=\"en\">") && page.contains("name=\"viewport\""));
        assert!(page.contains("Content-Security-Policy"));
    }
}

#[test]
fn the_same_job_gives_the_same_page() {
    assert_eq!(page(&undecided()), page(&undecided()));
}

const HOSTILE: &str =
    "<script>alert('x')</script>\" onmouseover=\"x\" & \u{202e}\u{0}\u{1b}[2J ]]> --> </title></svg> Ω漢🙂";

#[test]
fn hostile_strings_stay_text() {
    let mut s = undecided();
    let h = || HOSTILE.to_owned();
    s.plan.site = h();
    s.plan.technician = h();
    s.plan.limits.transport.source = h();
    s.plan.limits.transport.unit = h();
    s.plan.checklist[0].text = h();
    s.outcome.because = h();
    s.outcome.could_have_missed = vec![Statement::new(Subject::Job, h())];
    s.outcome.not_done.push((StageKind::Purge, h()));
    if let Some(unit) = &mut s.outcome.replacement {
        (unit.maker, unit.model, unit.serial, unit.firmware) = (h(), h(), h(), h());
    }
    for f in &mut s.outcome.findings {
        (f.says, f.likely, f.next) = (h(), Some(h()), Some(h()));
        if let Some(m) = &mut f.measured {
            m.unit = h();
        }
        f.void = f.void.as_ref().map(|_| h());
        if let Some(d) = &mut f.decision {
            d.rule = h();
        }
    }
    let (key, told) = (HOSTILE.repeat(400), [("item", &*HOSTILE.repeat(400))]);
    let mut f = Finding::coded(StageKind::Load, Subject::Setting(key), "load.item-changed", &told).unwrap();
    f.measured = Some(Figure::plain(f64::NAN, HOSTILE));
    s.outcome.findings.push(f);
    s.outcome.stages[0].because = Some(h());
    s.outcome.smoke[0].why_not = Some(h());
    s.digests.trace = h();
    s.record.remarks.push((Instant::FAR_FUTURE, h()));
    s.record.dates.push((Instant::START, h()));
    s.record.links.push(h());
    s.record.files.push((h(), h(), 1));
    s.record.overrides[0].answer = h();
    let page = page(&s);
    let text = visible(&page);
    assert!(text.contains("<script>alert('x')</script>\" onmouseover=\"x\" & "), "shown as text");
    assert!(!page.contains("<script") && !page.contains("</script"), "never as markup");
    assert!(!page.contains("\" onmouseover"));
    assert!(!page.contains(['\u{0}', '\u{1b}', '\u{202e}']));
    assert_eq!(page.matches("</title>").count(), 1 + page.matches("<title id=").count());
    assert!(page.len() < 2_000_000, "very long strings are cut: {}", page.len());
}

#[test]
fn numbers_that_are_none_and_times_out_of_order_do_no_harm() {
    let mut s = clean();
    for p in &mut s.outcome.pipes {
        p.predicted.value = f64::NAN;
        p.measured = Some(Figure::with(f64::INFINITY, f64::NAN, "L/min"));
        p.baseline = Some(f64::NEG_INFINITY);
        p.smallest_visible = Some(f64::NAN);
    }
    for r in &mut s.outcome.smoke {
        r.onset = Some(Figure::with(f64::NAN, f64::NAN, "s"));
        r.half_plateau = Some(Figure::plain(1e300, "s"));
        (r.released, r.until) = (Instant::FAR_FUTURE, Instant::START);
    }
    for st in &mut s.outcome.stages {
        (st.began, st.ended) = (Instant::FAR_FUTURE, Instant::START);
    }
    for f in &mut s.outcome.findings {
        f.window = Some((Instant::FAR_FUTURE, Instant::START));
        if let Some(d) = &mut f.decision {
            (d.low, d.guard, d.conformity) = (Some(f64::NAN), f64::INFINITY, f64::NAN);
        }
    }
    s.outcome.out_of_service_s = Some(f64::NAN);
    let text = visible(&page(&s));
    assert!(!text.contains("NaN") && !text.contains(" inf"));
    assert!(!page(&s).contains("NaN"));
}

#[test]
fn an_empty_outcome_is_undecided_about_everything() {
    let mut s = clean();
    s.outcome = Outcome::default();
    s.record = Record::new(0);
    let text = visible(&page(&s));
    assert!(first_screen(&text).contains("UNDECIDED"));
    assert!(text.contains("No stage was begun.") && text.contains("Nothing else was found."));
    assert!(text.contains("Any defect at all"));
}

#[test]
fn a_pass_that_its_own_record_contradicts_is_not_shown_as_one() {
    type Break = fn(&mut Outcome);
    let breaks: [(Break, Verdict); 6] = [
        (|o| o.findings[20].verdict = Verdict::Fail, Verdict::Fail),
        (|o| o.findings[20].void = Some("a pipe was moved".into()), Verdict::Undecided),
        (|o| o.stages[3].complete = false, Verdict::Undecided),
        (|o| o.aborted = true, Verdict::Undecided),
        (|o| o.not_done.push((StageKind::Purge, "left out by the plan".into())), Verdict::Undecided),
        (|o| (o.findings.clear(), o.stages.clear()).0, Verdict::Undecided),
    ];
    for (k, (break_it, comes_to)) in breaks.into_iter().enumerate() {
        let mut s = clean();
        break_it(&mut s.outcome);
        assert_eq!(plumeline_report::standing::shown_verdict(&s.outcome), comes_to, "case {k}");
        let text = visible(&page(&s));
        let first = first_screen(&text);
        assert!(!first.contains("PASS") && first.contains("CONTRADICTION"), "case {k}");
    }
    let mut s = clean();
    s.outcome
        .findings
        .iter_mut()
        .filter(|f| f.stage == StageKind::AsFound)
        .for_each(|f| f.verdict = Verdict::Undecided);
    assert!(first_screen(&visible(&page(&s))).contains("PASS"), "what the outgoing unit showed judges nothing");
}
