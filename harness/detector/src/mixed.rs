//! One unit by several means at once: what comes over its line, and a person at it for the rest.
//!
//! Each request goes to the first means that has a way to answer it: the line, then the person. Who the unit is tells the line
//! where it tells a serial number, else the label. What is shown is attributed by the means that showed it. Not here: what
//! a line or a person can do (their own drivers).
use crate::{
    ask::{Look, Reply, Request},
    display::{self, Display},
    driver::{Driver, End, LineCounters, Means, Question, Report, Ticket},
    vocabulary::{Abilities, Identity, ObscurationSensing, ReadingsBy},
};
use alloc::{
    boxed::Box,
    collections::{BTreeMap, VecDeque},
    vec::Vec,
};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
};

/// What one means has to offer.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// What it can do.
    pub can: Abilities,
    /// It tells what stands: faults and levels.
    pub state: bool,
}
impl Offer {
    fn has(&self, request: &Request) -> bool {
        match request {
            Request::ReadOnce { look: Look::State } => self.state,
            request => self.can.can(request),
        }
    }
}
/// What a model has to offer by its description, before anybody has met a unit of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Offers {
    /// Over its line.
    pub line: Option<Offer>,
    /// By a person at it.
    pub person: Option<Offer>,
}
impl Offers {
    /// By which means this is answered; `None`: by none.
    pub fn means(&self, request: &Request) -> Option<Means> {
        if self.line.as_ref().is_some_and(|line| line.has(request)) {
            return Some(Means::Protocol);
        }
        self.person.as_ref().filter(|person| person.has(request)).map(|_| display::means(request))
    }
    /// What can be done by the one or the other; `None`: nothing was described.
    pub fn all(&self) -> Option<Abilities> {
        match (&self.line, &self.person) {
            (Some(line), Some(person)) => Some(together(line, &person.can)),
            (one, other) => one.as_ref().or(other.as_ref()).map(|o| o.can.clone()),
        }
    }
}
/// What can be done by a line or by a person at it.
fn together(of_line: &Offer, person: &Abilities) -> Abilities {
    let line = &of_line.can;
    let flow = if line.flow_per_inlet { line } else { person };
    let smoke = if line.obscuration == ObscurationSensing::None { person } else { line };
    let state = if of_line.state { line } else { person };
    Abilities {
        inlets: if line.flow_per_inlet { line.inlets } else { person.inlets },
        alarm_levels: state.alarm_levels,
        outputs: person.outputs.max(line.outputs),
        inputs: line.inputs,
        readings: if line.readings == ReadingsBy::None { person.readings } else { line.readings },
        flow_per_inlet: flow.flow_per_inlet,
        flow_basis: flow.flow_basis,
        flow_step_nl_s: flow.flow_step_nl_s,
        flow_max_nl_s: flow.flow_max_nl_s,
        extinction_max_n_m: smoke.extinction_max_n_m,
        extinction_step_n_m: smoke.extinction_step_n_m,
        extinction_averaged_ms: smoke.extinction_averaged_ms,
        obscuration: smoke.obscuration,
        clock: line.clock,
        simulated: line.simulated,
        wall_clock: line.wall_clock || person.wall_clock,
        read_settings: line.read_settings || person.read_settings,
        write_settings: line.write_settings || person.write_settings,
        baseline: line.baseline || person.baseline,
        inhibit: line.inhibit || person.inhibit,
        drive_outputs: line.drive_outputs || person.drive_outputs,
        reset_latches: line.reset_latches || person.reset_latches,
        event_log: line.event_log,
        notes: line.notes,
        restart: line.restart || person.restart,
    }
}

/// Who answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Who {
    Line,
    Person,
}

/// A unit on a line with a person at it.
pub struct Mixed {
    line: Box<dyn Driver>,
    person: Display,
    unit: Option<(Identity, Abilities)>,
    /// Who the line says that it is, while a person is asked for the label.
    met: Option<(Identity, Abilities)>,
    next_ticket: u32,
    /// The requests under way, by their tickets at whoever answers.
    open: BTreeMap<(Who, Ticket), (Ticket, Request)>,
    reports: VecDeque<Report>,
    /// The unit is known by its label.
    by_label: bool,
}

impl Mixed {
    /// A unit on this line, with this person at it.
    pub fn new(line: Box<dyn Driver>, person: Display) -> Self {
        Self {
            line,
            person,
            unit: None,
            met: None,
            next_ticket: 0,
            open: BTreeMap::new(),
            reports: VecDeque::new(),
            by_label: false,
        }
    }
    fn who(&self, request: &Request) -> Who {
        match request {
            Request::Identify
            | Request::Clock
            | Request::StartReadings { .. }
            | Request::StopReadings
            | Request::SettingsState
            | Request::ReadEvents { .. } => Who::Line,
            Request::RenewInhibit => self.who(&Request::ReleaseInhibit),
            request if self.line.can(request) => Who::Line,
            _ => Who::Person,
        }
    }
    /// Passes a request on.
    fn pass(&mut self, now: Instant, who: Who, ticket: Ticket, request: Request) {
        let inner = match who {
            Who::Line => self.line.request(now, request.clone()),
            Who::Person => self.person.request(now, request.clone()),
        };
        self.open.insert((who, inner), (ticket, request));
    }
    /// A request ended; `None`: it goes on with the other.
    fn ended(&mut self, now: Instant, who: Who, inner: Ticket, end: End) -> Option<Report> {
        let (ticket, request) = self.open.remove(&(who, inner))?;
        let end = match (request, who, end) {
            (Request::Identify, Who::Line, Ok(Reply::Identity(met))) => {
                if met.0.serial.is_empty() {
                    self.met = Some(met);
                    self.pass(now, Who::Person, ticket, Request::Identify);
                    return None;
                }
                self.by_label = false;
                let person = self.person.stands_at(&met.0, met.1.inlets);
                Ok(Reply::Identity(self.known(met.0, &met.1, &person)))
            }
            (Request::Identify, Who::Person, Ok(Reply::Identity((said, person)))) => match self.met.take() {
                Some((told, line)) => {
                    self.by_label = true;
                    Ok(Reply::Identity(self.known(Identity { boot_id: told.boot_id, ..said }, &line, &person)))
                }
                None => Ok(Reply::Identity((said, person))),
            },
            (.., end) => end,
        };
        Some(Report::Ended(ticket, end))
    }
    /// Takes what both have to report.
    fn take(&mut self, now: Instant) {
        loop {
            let (who, report) = match self.line.poll_report() {
                Some(report) => (Who::Line, report),
                None => match self.person.poll_report() {
                    Some(report) => (Who::Person, report),
                    None => return,
                },
            };
            self.reported(now, who, report);
        }
    }
    fn reported(&mut self, now: Instant, who: Who, report: Report) {
        let report = match (report, &mut self.unit) {
            (Report::Ended(inner, end), _) => self.ended(now, who, inner, end),
            (Report::StartedAnew(told, _), Some((known, all))) => {
                known.boot_id = told.boot_id;
                Some(Report::StartedAnew(known.clone(), all.clone()))
            }
            (report, _) => Some(report),
        };
        self.reports.extend(report);
    }
    fn known(&mut self, identity: Identity, line: &Abilities, person: &Abilities) -> (Identity, Abilities) {
        let line = Offer { can: line.clone(), state: self.line.can(&Request::ReadOnce { look: Look::State }) };
        let all = together(&line, person);
        self.unit.insert((identity, all)).clone()
    }
}

impl Driver for Mixed {
    fn link_up(&mut self, now: Instant) {
        self.line.link_up(now);
        self.take(now);
    }
    fn link_down(&mut self, now: Instant, cause: LinkDown) {
        self.line.link_down(now, cause);
        self.take(now);
    }
    fn receive(&mut self, now: Instant, bytes: &[u8]) {
        self.line.receive(now, bytes);
        self.take(now);
    }
    fn answer(&mut self, now: Instant, question: u32, answer: &Answer) {
        self.person.answer(now, question, answer);
        self.take(now);
    }
    fn timeout(&mut self, now: Instant) {
        self.line.timeout(now);
        self.person.timeout(now);
        self.take(now);
    }
    fn next_timeout(&self) -> Option<Instant> {
        self.line.next_timeout().into_iter().chain(self.person.next_timeout()).min()
    }
    fn request(&mut self, now: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        self.pass(now, self.who(&request), ticket, request);
        self.take(now);
        ticket
    }
    fn poll_send(&mut self, out: &mut Vec<u8>) -> bool {
        self.line.poll_send(out)
    }
    fn poll_question(&mut self) -> Option<Question> {
        self.person.poll_question()
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.unit.as_ref().map(|(_, can)| can)
    }
    fn asks(&self, look: Look) -> bool {
        self.unit.is_some() && self.who(&Request::ReadOnce { look }) == Who::Person
    }
    fn means(&self, request: &Request) -> Means {
        match self.who(request) {
            Who::Line if *request == Request::Identify && self.by_label => Means::Person,
            Who::Line => Means::Protocol,
            Who::Person => self.person.means(request),
        }
    }
    fn give_up(&mut self, now: Instant, ticket: Ticket) -> Option<u32> {
        let ((who, inner), _) = self.open.iter().find(|(_, (outer, _))| *outer == ticket)?;
        match who {
            Who::Line => None,
            Who::Person => self.person.give_up(now, *inner),
        }
    }
    fn line(&self) -> LineCounters {
        self.line.line()
    }
}
