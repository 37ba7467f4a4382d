//! The lines driver at a port that brings anything: raw bytes, and lines that are right but for what the bytes change.
use crate::dice::Dice;
use plumeline_base::{Instant, input::LinkDown};
use plumeline_detector::{
    Driver, Report, Request,
    ask::{Look, Reply},
    lines::Lines,
};
use plumeline_job::description;
use std::{collections::BTreeSet, time::Duration};

/// A line of the model, with one stretch of it replaced.
fn line(dice: &mut Dice<'_>) -> Vec<u8> {
    let mut line = b"AIR2  32.15  33.02   ----   ---- L/min  SMOKE   0.0123 %/m\r\n".to_vec();
    let at = usize::from(dice.byte()) % line.len();
    let cut = usize::from(dice.byte() % 12).min(line.len() - at);
    let put = usize::from(dice.byte() % 8);
    let new = dice.bytes(put).to_vec();
    line.splice(at..at + cut, new);
    line
}
/// Every request ends once, what is read is numbers that can be right, and time does not stand still.
pub fn lines(data: &[u8]) {
    let mut dice = Dice::new(data);
    let text = description::SHIPPED.iter().find(|(name, _)| *name == "model-h").unwrap().1;
    let mut driver = Lines::new(description::parse("model-h", text.as_bytes()).unwrap().lines.unwrap());
    let (mut now, mut open) = (Instant::START, BTreeSet::new());
    driver.link_up(now);
    while !dice.is_spent() {
        match dice.byte() {
            0..40 => {
                let request = match dice.byte() % 4 {
                    0 => Request::Identify,
                    1 => Request::StartReadings { hz: dice.byte() },
                    2 => Request::ReadOnce { look: Look::State },
                    _ => Request::ReadSettings,
                };
                open.insert(driver.request(now, request));
            }
            40..180 => driver.receive(now, &line(&mut dice)),
            180..200 => {
                let length = usize::from(dice.byte());
                driver.receive(now, dice.bytes(length));
            }
            200..205 => {
                driver.link_down(now, LinkDown::Unplugged);
                driver.link_up(now);
            }
            _ => {
                now = driver.next_timeout().unwrap_or(now).max(now + Duration::from_millis(100));
                driver.timeout(now);
                assert!(driver.next_timeout().is_none_or(|next| next > now), "it would be called for ever");
            }
        }
        while let Some(report) = driver.poll_report() {
            let reading = match report {
                Report::Ended(ticket, end) => {
                    assert!(open.remove(&ticket), "ended twice, or never asked");
                    match end {
                        Ok(Reply::Reading(reading)) => reading,
                        _ => continue,
                    }
                }
                Report::Reading(reading) => reading,
                _ => continue,
            };
            assert!(reading.received <= now);
            let numbers = reading.flow_m3_s.iter().chain(&reading.extinction_per_m).flatten();
            assert!(numbers.into_iter().all(|x| x.is_finite()));
        }
    }
    driver.link_down(now, LinkDown::Closed);
    while let Some(report) = driver.poll_report() {
        if let Report::Ended(ticket, _) = report {
            assert!(open.remove(&ticket));
        }
    }
    assert!(open.is_empty(), "a request never ended");
}
