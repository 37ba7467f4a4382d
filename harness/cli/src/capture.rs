//! Reads the settings of a unit whole, through a driver, without a job.
//!
//! The unit's own list of its settings and their digest prove that nothing is missing: the driver hands over whole sets only.
//! Not here: what the settings mean.
use plumeline_base::Instant;
use plumeline_detector::{
    Driver, Identity, Reply, Report, Request, Ticket, driver::End, plumewire::Plumewire, settings::Settings,
};
use plumeline_link::{LineSpec, LinkEvent, Opener, RealClock};
use plumeline_runtime::failure::Failure;
use plumeline_simulator::Simulation;
use std::{future::pending, time::Duration};

/// What was captured.
#[derive(Clone, Debug, PartialEq)]
pub struct Captured {
    /// Who told it.
    pub unit: Identity,
    /// Its settings, whole.
    pub settings: Settings,
}

/// Asks who the unit is, then for its settings.
struct Asking {
    driver: Box<dyn Driver>,
    asked: Option<Ticket>,
    unit: Option<Identity>,
    end: Option<Result<Captured, Failure>>,
}

impl Asking {
    fn new(mut driver: Box<dyn Driver>, now: Instant) -> Self {
        driver.link_up(now);
        let asked = Some(driver.request(now, Request::Identify));
        let mut asking = Self { driver, asked, unit: None, end: None };
        asking.take(now);
        asking
    }
    fn receive(&mut self, now: Instant, bytes: &[u8]) {
        self.driver.receive(now, bytes);
        self.take(now);
    }
    fn timeout(&mut self, now: Instant) {
        self.driver.timeout(now);
        self.take(now);
    }
    fn take(&mut self, now: Instant) {
        while let Some(report) = self.driver.poll_report() {
            match report {
                Report::StartedAnew(unit, _) => self.unit = Some(unit),
                Report::Ended(ticket, end) if self.asked == Some(ticket) => self.ended(now, end),
                _ => {}
            }
        }
    }
    fn ended(&mut self, now: Instant, end: End) {
        self.end = Some(match (end, self.unit.take()) {
            (Ok(Reply::Identity((unit, _))), _) => {
                self.unit = Some(unit);
                self.asked = Some(self.driver.request(now, Request::ReadSettings));
                return;
            }
            (Ok(Reply::Settings(settings)), Some(unit)) => Ok(Captured { unit, settings }),
            (Ok(_), _) => Err(Failure::internal("an answer to another question than was asked")),
            (Err(trouble), _) => Err(Failure::trouble(trouble.to_string(), trouble.remedy())),
        });
    }
    fn send(&mut self) -> Option<Vec<u8>> {
        let mut bytes = Vec::new();
        self.driver.poll_send(&mut bytes).then_some(bytes)
    }
}

/// Captures over a real line.
///
/// # Errors
/// What is wrong with the line, or what the unit does not do.
pub async fn over_line(line: LineSpec) -> Result<Captured, Failure> {
    let clock = RealClock::starting_at(Instant::START, 1.0);
    let mut link = Opener::new(line).open().await?;
    let mut asking = Asking::new(Box::new(Plumewire::new()), clock.now());
    loop {
        while let Some(bytes) = asking.send() {
            link.send(&bytes);
        }
        if let Some(end) = asking.end.take() {
            let _ = link.drain(Duration::from_millis(500)).await;
            return end;
        }
        let due = asking.driver.next_timeout();
        tokio::select! {
            event = link.next() => match event {
                Some(LinkEvent::Received(bytes)) => asking.receive(clock.now(), &bytes),
                Some(LinkEvent::Down(down)) => return Err(down.into()),
                None => return Err(Failure::trouble("the line has ended", "plug it in again, and capture anew")),
            },
            () = async { match due { Some(at) => clock.until(at).await, None => pending().await } } => {
                asking.timeout(clock.now());
            }
        }
    }
}

/// Captures from the unit on the wall of a simulated site, in virtual time from `now` on.
///
/// # Errors
/// What the unit does not do.
pub fn from_simulation(simulation: &mut Simulation, mut now: Instant) -> Result<Captured, Failure> {
    let mut asking = Asking::new(Box::new(Plumewire::new()), now);
    loop {
        let mut moved = true;
        while moved {
            moved = false;
            while let Some(bytes) = asking.send() {
                moved = true;
                simulation.handle_bytes(now, &bytes);
            }
            while let Some(bytes) = simulation.poll_transmit() {
                moved = true;
                asking.receive(now, &bytes);
            }
        }
        if let Some(end) = asking.end.take() {
            return end;
        }
        let due = [simulation.poll_timeout(), asking.driver.next_timeout()];
        let Some(next) = due.into_iter().flatten().min() else {
            return Err(Failure::internal("the capture waits for nothing"));
        };
        now = now.max(next);
        if simulation.poll_timeout().is_some_and(|t| t <= now) {
            simulation.handle_timeout(now);
        }
        if asking.driver.next_timeout().is_some_and(|t| t <= now) {
            asking.timeout(now);
        }
    }
}
