//! A person at a display who types anything: numbers, words, refusals and what is no answer at all.
use crate::dice::Dice;
use plumeline_base::{Instant, input::Answer};
use plumeline_detector::{
    Driver, Report, Request,
    ask::{Look, Reply},
    display::{Display, Face, FlowShown},
    settings::Settings,
};
use plumeline_job::description;
use std::{collections::BTreeSet, time::Duration};

/// What is typed: now and then what is wanted, so that the next question is come to.
fn answer(dice: &mut Dice<'_>) -> Answer {
    const LIKELY: [&str; 16] = [
        "yes",
        "no",
        "4711",
        "2.1",
        "1",
        "2",
        "97 103",
        "97",
        "31,5 32",
        "none",
        "AIR 1, FAULT",
        "0.1 10",
        "OFF OFF",
        "-",
        "+01:00",
        "2026-03-09 14:32:30",
    ];
    match dice.byte() {
        0..150 => Answer::Text(LIKELY[usize::from(dice.byte()) % LIKELY.len()].into()),
        150..190 => Answer::Yes,
        190..200 => Answer::No,
        200..205 => Answer::NoBecause("it is dark".into()),
        205..210 => Answer::Cannot("it is dark".into()),
        210..220 => Answer::Number(f64::from_bits(u64::from_le_bytes(std::array::from_fn(|_| dice.byte())))),
        220..225 => Answer::Again("flow".into()),
        _ => {
            let length = usize::from(dice.byte() % 60);
            Answer::Text(String::from_utf8_lossy(dice.bytes(length)).into_owned())
        }
    }
}
fn request(dice: &mut Dice<'_>) -> Request {
    match dice.byte() % 12 {
        0..3 => Request::Identify,
        3 => Request::ReadOnce { look: Look::Flows },
        4 => Request::ReadOnce { look: Look::Smoke },
        5 => Request::ReadOnce { look: Look::State },
        6 => Request::ReadSettings,
        7 => Request::WriteSettings { settings: Settings::default() },
        8 => Request::ReadBaseline,
        9 => Request::TellTime,
        10 => Request::TakeBaseline,
        _ => Request::Drive { output: dice.byte(), on: dice.byte() & 1 == 1 },
    }
}
/// One question stands at a time, each request ends once, and what is taken lies on the display's range and steps.
pub fn typed(data: &[u8]) {
    let mut dice = Dice::new(data);
    let text = description::SHIPPED.iter().find(|(name, _)| *name == "model-f").unwrap().1;
    let mut face = description::parse("model-f", text.as_bytes()).unwrap().face();
    // Now and then its display shows no flow, and a meter at the exhaust is read.
    if data.len() % 4 == 3 {
        let shown = Face::stranger("X").shows.flow.unwrap();
        face.shows.flow = Some(FlowShown { per_inlet: false, meter: Some("Meter 5".into()), ..shown });
    }
    // A unit whose label nobody described is read in L/min.
    let other = Face::stranger("X").shows.flow.unwrap();
    let (flow, smoke) = (face.shows.flow.clone().unwrap(), face.shows.smoke.clone().unwrap().0);
    let mut driver = Display::new(vec![face]);
    let (mut now, mut open, mut asked) = (Instant::START, BTreeSet::new(), None);
    // One that was given up may have ended just before.
    let mut given_up = BTreeSet::new();
    while !dice.is_spent() {
        if open.is_empty() {
            open.insert(driver.request(now, request(&mut dice)));
        }
        if let Some(question) = driver.poll_question() {
            assert!(asked.replace(question.id).is_none(), "two questions at once");
            assert!(!question.text.is_empty());
        }
        match (asked, dice.byte()) {
            (_, 0..4) => {
                let ticket = open.pop_first().unwrap();
                driver.give_up(now, ticket);
                given_up.insert(ticket);
                asked = None;
                assert!(driver.poll_question().is_none(), "a question that nobody waits for");
            }
            (Some(id), _) => {
                now += Duration::from_secs(1);
                asked = None;
                driver.answer(now, id, &answer(&mut dice));
            }
            (None, _) => {
                now = driver.next_timeout().unwrap_or(now).max(now + Duration::from_millis(1));
                driver.timeout(now);
            }
        }
        while let Some(report) = driver.poll_report() {
            let Report::Ended(ticket, end) = report else { continue };
            assert!(open.remove(&ticket) || given_up.remove(&ticket), "ended twice, or never asked");
            let Ok(Reply::Reading(reading)) = end else { continue };
            for q in reading.flow_m3_s.iter().flatten().chain(&reading.flow_all_m3_s) {
                let fits = |f: &FlowShown| (f.scale.range.0..=f.scale.range.1).contains(&(q / f.m3_s));
                assert!(fits(&flow) || fits(&other), "{q}");
            }
            assert!(reading.extinction_per_m.iter().flatten().all(|k| k.is_finite() && *k >= smoke.range.0));
        }
    }
}
