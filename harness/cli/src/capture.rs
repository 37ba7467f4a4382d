//! Asks a unit some things through a driver, without a job: its settings whole, or whatever a description says that it tells.
//!
//! The unit's own list of its settings and their digest prove that nothing is missing: the driver hands over whole sets only.
//! Not here: what was told means.
use plumeline_base::Instant;
use plumeline_detector::{
    Driver, Identity, Reply, Report, Request, Ticket, driver::End, plumewire::Plumewire, settings::Settings,
};
use plumeline_link::{LineSpec, LinkEvent, Opener, RealClock};
use plumeline_runtime::failure::Failure;
use plumeline_simulator::Simulation;
use std::{collections::VecDeque, future::pending, time::Duration};

/// What was captured.
#[derive(Clone, Debug, PartialEq)]
pub struct Captured {
    /// Who told it.
    pub unit: Identity,
    /// Its settings, whole.
    pub settings: Settings,
}
impl Captured {
    const ASKED: [Request; 2] = [Request::Identify, Request::ReadSettings];

    fn of(told: Vec<(Request, End)>) -> Result<Self, Failure> {
        let (mut unit, mut settings) = (None, None);
        for (_, end) in told {
            match end {
                Ok(Reply::Identity((told, _))) => unit = Some(told),
                Ok(Reply::Settings(told)) => settings = Some(told),
                Ok(_) => {}
                Err(trouble) => return Err(Failure::trouble(trouble.to_string(), trouble.remedy())),
            }
        }
        let whole = unit.zip(settings).map(|(unit, settings)| Self { unit, settings });
        whole.ok_or_else(|| Failure::internal("an answer to another question than was asked"))
    }
}

/// Asks one thing after the other, and no more once the unit does not say who it is.
struct Asking {
    driver: Box<dyn Driver>,
    left: VecDeque<Request>,
    open: Option<(Ticket, Request)>,
    told: Vec<(Request, End)>,
}

impl Asking {
    fn new(mut driver: Box<dyn Driver>, now: Instant, requests: &[Request]) -> Self {
        driver.link_up(now);
        let mut asking = Self { driver, left: requests.iter().cloned().collect(), open: None, told: Vec::new() };
        asking.next(now);
        asking.take(now);
        asking
    }
    fn next(&mut self, now: Instant) {
        self.open = self.left.pop_front().map(|request| (self.driver.request(now, request.clone()), request));
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
            let Report::Ended(ticket, end) = report else { continue };
            let Some((_, request)) = self.open.take_if(|(open, _)| *open == ticket) else { continue };
            if request == Request::Identify && end.is_err() {
                self.left.clear();
            }
            self.told.push((request, end));
            self.next(now);
        }
    }
    /// What was told, once all was asked.
    fn end(&mut self) -> Option<Vec<(Request, End)>> {
        self.open.is_none().then(|| std::mem::take(&mut self.told))
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
    Captured::of(ask(line, Box::new(Plumewire::new()), &Captured::ASKED).await?)
}

/// Asks these things over a real line.
///
/// # Errors
/// What is wrong with the line. What the unit does not do stands at what was asked.
pub async fn ask(
    line: LineSpec,
    driver: Box<dyn Driver>,
    requests: &[Request],
) -> Result<Vec<(Request, End)>, Failure> {
    let clock = RealClock::starting_at(Instant::START, 1.0);
    let mut link = Opener::new(line).open().await?;
    let mut asking = Asking::new(driver, clock.now(), requests);
    loop {
        while let Some(bytes) = asking.send() {
            link.send(&bytes);
        }
        if let Some(told) = asking.end() {
            let _ = link.drain(Duration::from_millis(500)).await;
            return Ok(told);
        }
        let due = asking.driver.next_timeout();
        tokio::select! {
            event = link.next() => match event {
                Some(LinkEvent::Received(bytes)) => asking.receive(clock.now(), &bytes),
                Some(LinkEvent::Down(down)) => return Err(down.into()),
                None => return Err(Failure::trouble("the line has ended", "plug it in again, and ask anew")),
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
    let mut asking = Asking::new(Box::new(Plumewire::new()), now, &Captured::ASKED);
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
        if let Some(told) = asking.end() {
            return Captured::of(told);
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
