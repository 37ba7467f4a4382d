//! A driver without a wire: a person reads the unit's display and types what it says.
//!
//! What a display can't give (streams, settings, transactions) is refused with the reason, so that it ends undecided
//! and never passes by default.
use crate::{
    ask::{Look, Reply, Request},
    driver::{Driver, End, LineCounters, Question, Report, Ticket, Trouble, Wants},
    vocabulary::{Abilities, FlowBasis, Identity, ObscurationSensing, Reading, ReadingsBy},
};
use alloc::{
    collections::VecDeque,
    format,
    string::{String, ToString},
    vec::Vec,
};
use plumeline_base::{
    Instant,
    input::{Answer, LinkDown},
    quantity::M3_S_PER_L_MIN,
};

/// The most inlets that a person is asked about.
const MOST_INLETS: f64 = 8.0;

/// A person at a display.
#[derive(Debug, Default)]
pub struct Display {
    next_ticket: u32,
    next_question: u32,
    waiting: VecDeque<(Ticket, Request)>,
    asking: Option<Asking>,
    questions: VecDeque<Question>,
    reports: VecDeque<Report>,
    abilities: Option<Abilities>,
}

/// A request under way: which questions are still to come, and what was answered.
#[derive(Debug)]
struct Asking {
    ticket: Ticket,
    request: Request,
    question: u32,
    left: VecDeque<(String, Wants)>,
    answers: Vec<Answer>,
}

impl Display {
    /// A person who has not been asked anything yet.
    pub fn new() -> Self {
        Self::default()
    }
    fn end(&mut self, ticket: Ticket, end: End) {
        self.reports.push_back(Report::Ended(ticket, end));
    }
    /// Starts the next request, or ends it at once where a display can't give it.
    fn start(&mut self) {
        while self.asking.is_none() {
            let Some((ticket, request)) = self.waiting.pop_front() else { return };
            let text = |s: &str| (s.to_string(), Wants::Text);
            let left: VecDeque<(String, Wants)> = match &request {
                Request::Identify => [
                    text("Maker and model, as the unit's label or display says"),
                    text("Serial number of the unit"),
                    text("Firmware version, as the display says"),
                    ("How many inlets does the unit have?".to_string(), Wants::Number { unit: "inlets".into() }),
                ]
                .into(),
                Request::ReadOnce { look: Look::Flows } => (1..=self.abilities.as_ref().map_or(0, |a| a.inlets))
                    .map(|n| {
                        (format!("Flow of inlet {n}, as the display says"), Wants::Number { unit: "L/min".into() })
                    })
                    .collect(),
                other => {
                    let why = format!("a display can't be used to {}", other.words());
                    self.end(ticket, Err(Trouble::CannotDo(why)));
                    continue;
                }
            };
            if left.is_empty() {
                self.end(ticket, Err(Trouble::CannotDo("the unit was not identified yet".into())));
                continue;
            }
            self.asking = Some(Asking { ticket, request, question: 0, left, answers: Vec::new() });
            self.ask_next();
        }
    }
    fn ask_next(&mut self) {
        let Some(asking) = &mut self.asking else { return };
        let Some((text, wants)) = asking.left.pop_front() else { return };
        self.next_question = self.next_question.wrapping_add(1);
        asking.question = self.next_question;
        self.questions.push_back(Question { id: self.next_question, text, wants });
    }
    fn finish(&mut self, now: Instant, asking: &Asking) -> End {
        let text = |i: usize| match asking.answers.get(i) {
            Some(Answer::Text(t)) => t.trim().to_string(),
            Some(Answer::Number(x)) => x.to_string(),
            _ => String::new(),
        };
        let number = |a: &Answer| match a {
            Answer::Number(x) if x.is_finite() => Some(*x),
            _ => None,
        };
        match asking.request {
            Request::Identify => {
                let inlets = asking.answers.get(3).and_then(number).filter(|n| (1.0..=MOST_INLETS).contains(n));
                let Some(inlets) = inlets else {
                    return Err(Trouble::Nonsense("a unit has between 1 and 8 inlets".into()));
                };
                if text(1).is_empty() {
                    return Err(Trouble::NotTold("a unit without a serial number can't be told from another".into()));
                }
                let abilities = by_eye(inlets as u8);
                self.abilities = Some(abilities.clone());
                let identity = Identity {
                    maker: String::new(),
                    model: text(0),
                    serial: text(1),
                    firmware: text(2),
                    boot_id: None,
                };
                Ok(Reply::Identity((identity, abilities)))
            }
            _ => Ok(Reply::Reading(Reading {
                received: now,
                flow_m3_s: asking.answers.iter().map(|a| number(a).map(|q| q * M3_S_PER_L_MIN)).collect(),
                ..Reading::default()
            })),
        }
    }
}

/// What a unit can do as far as a person at its display is concerned.
pub fn by_eye(inlets: u8) -> Abilities {
    Abilities {
        inlets,
        alarm_levels: 0,
        outputs: 0,
        inputs: 0,
        readings: ReadingsBy::None,
        flow_per_inlet: true,
        flow_basis: FlowBasis::Actual,
        flow_step_nl_s: 0,
        flow_max_nl_s: 0,
        extinction_max_n_m: 0,
        extinction_step_n_m: 0,
        obscuration: ObscurationSensing::None,
        clock: false,
        wall_clock: false,
        read_settings: false,
        write_settings: false,
        baseline: false,
        inhibit: false,
        drive_outputs: false,
        reset_latches: false,
        event_log: false,
        restart: false,
    }
}

impl Driver for Display {
    fn link_up(&mut self, _: Instant) {}
    fn link_down(&mut self, _: Instant, _: LinkDown) {}
    fn receive(&mut self, _: Instant, _: &[u8]) {}
    fn answer(&mut self, now: Instant, question: u32, answer: &Answer) {
        if self.asking.as_ref().is_none_or(|a| a.question != question) {
            return;
        }
        let Some(mut asking) = self.asking.take() else { return };
        let refused = match answer {
            Answer::Cannot(why) | Answer::NoBecause(why) => Some(why.clone()),
            Answer::No => Some("the person said no".to_string()),
            _ => None,
        };
        if let Some(why) = refused {
            self.end(asking.ticket, Err(Trouble::NotTold(why)));
        } else {
            asking.answers.push(answer.clone());
            if asking.left.is_empty() {
                let end = self.finish(now, &asking);
                self.end(asking.ticket, end);
            } else {
                self.asking = Some(asking);
                self.ask_next();
            }
        }
        self.start();
    }
    fn timeout(&mut self, _: Instant) {}
    fn next_timeout(&self) -> Option<Instant> {
        None
    }
    fn request(&mut self, _: Instant, request: Request) -> Ticket {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket = self.next_ticket.wrapping_add(1);
        self.waiting.push_back((ticket, request));
        self.start();
        ticket
    }
    fn poll_send(&mut self, _: &mut Vec<u8>) -> bool {
        false
    }
    fn poll_question(&mut self) -> Option<Question> {
        self.questions.pop_front()
    }
    fn poll_report(&mut self) -> Option<Report> {
        self.reports.pop_front()
    }
    fn abilities(&self) -> Option<&Abilities> {
        self.abilities.as_ref()
    }
    fn line(&self) -> LineCounters {
        LineCounters::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(s: &str) -> Answer {
        Answer::Text(s.into())
    }
    fn answer_all(d: &mut Display, answers: &[Answer]) {
        for a in answers {
            let q = d.poll_question().expect("a question");
            d.answer(Instant::START, q.id, a);
        }
    }

    #[test]
    fn a_person_identifies_and_reads() {
        let mut d = Display::new();
        let asked = d.request(Instant::START, Request::Identify);
        answer_all(&mut d, &[text("North A"), text("77"), text("1.2"), Answer::Number(2.0)]);
        let Some(Report::Ended(ticket, Ok(Reply::Identity((id, ab))))) = d.poll_report() else { panic!() };
        assert_eq!(ticket, asked);
        assert_eq!((id.serial.as_str(), ab.inlets, id.boot_id), ("77", 2, None));
        d.request(Instant::START, Request::ReadOnce { look: Look::Flows });
        answer_all(&mut d, &[Answer::Number(30.0), Answer::Number(60.0)]);
        let Some(Report::Ended(_, Ok(Reply::Reading(r)))) = d.poll_report() else { panic!() };
        assert_eq!(r.flow_m3_s, [Some(30.0 * M3_S_PER_L_MIN), Some(60.0 * M3_S_PER_L_MIN)]);
        // Nobody was asked for these: they are not known, and not clear.
        assert_eq!((r.faults, r.levels_standing(), r.outputs, r.inhibited()), (None, None, None, None));
    }
    #[test]
    fn what_a_display_cannot_give_is_refused_with_the_reason() {
        let mut d = Display::new();
        for request in [Request::StartReadings { hz: 10 }, Request::ReadSettings, Request::TakeBaseline, Request::Clock]
        {
            d.request(Instant::START, request);
            let told = d.poll_report();
            assert!(matches!(told, Some(Report::Ended(_, Err(Trouble::CannotDo(_))))), "{told:?}");
        }
    }
    #[test]
    fn not_told_and_nonsense_are_no_identity() {
        let mut d = Display::new();
        d.request(Instant::START, Request::Identify);
        answer_all(&mut d, &[Answer::Cannot("the display is dark".into())]);
        let dark = Trouble::NotTold("the display is dark".into());
        assert!(matches!(d.poll_report(), Some(Report::Ended(_, Err(why))) if why == dark));
        d.request(Instant::START, Request::Identify);
        answer_all(&mut d, &[text("A"), text("1"), text(""), Answer::Number(f64::NAN)]);
        assert!(matches!(d.poll_report(), Some(Report::Ended(_, Err(Trouble::Nonsense(_))))));
        // An answer to a question that is not open changes nothing.
        d.answer(Instant::START, 999, &Answer::Yes);
        assert_eq!(d.poll_report(), None);
    }
}
