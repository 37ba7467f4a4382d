//! The machine that live runs, replays, campaigns and tests drive: events in, effects out.
use crate::{
    context::Context,
    digest::sha256_hex,
    effect::{Effect, Entry},
    executor::Tasks,
    job::JobInputs,
    lines::Drivers,
    outcome::Origin,
    readings::{Item, Timed},
    rules::advanced::ClockRules,
    stages,
    state::{Counted, JobState},
    supervisors,
};
use alloc::{boxed::Box, format, rc::Rc, vec::Vec};
use plumeline_base::{
    Instant,
    input::{AbortCause, Event, Input, LineId, LinkDown},
};
use plumeline_detector::{Identity, Reading, Reply, Report, Trouble, ask::ClockExchange, vocabulary::FlowBasis};
use plumeline_measure::clock;

/// What a line says that ended with the program and is opened again with it.
pub const STARTED_AGAIN: &str = "the program was ended and started again";

/// A job under way.
///
/// Feed it events in order with [`Procedure::handle`], then take every effect with [`Procedure::poll_effect`]; wake it
/// with [`Input::Wake`] no earlier than [`Procedure::poll_timeout`]. The same events give the same effects.
pub struct Procedure {
    ctx: Context,
    tasks: Tasks,
    /// Stages begin with the first event that is more than a header of the log.
    begun: bool,
    running: bool,
}

impl Procedure {
    /// A job that will be driven through these drivers. Nothing happens before the first event.
    pub fn new(inputs: JobInputs, drivers: impl Into<Drivers>) -> Self {
        let ctx = Context::new(drivers.into(), Rc::new(inputs));
        let tasks = Tasks::new(Box::pin(stages::job(ctx.clone())), supervisors::all(&ctx));
        Self { ctx, tasks, begun: false, running: true }
    }
    /// Takes one event. Time never runs backward: an earlier instant counts as the latest one seen. Nothing follows from what
    /// comes after the end of the job.
    pub fn handle(&mut self, event: &Event) {
        if !self.running {
            return;
        }
        let before = self.ctx.now();
        self.ctx.edit().now = before.max(event.at);
        self.begun |=
            !matches!(event.input, Input::Tool { .. } | Input::Date(_) | Input::File { .. } | Input::Attended(_));
        self.take_in(&event.input, before);
        // Timers: those of the driver and of the link run on the same instants as those of the tasks.
        let now = self.ctx.now();
        for id in LineId::ALL {
            let mut try_again = false;
            if let Some(line) = self.ctx.edit().lines.get_mut(id) {
                if line.driver.next_timeout().is_some_and(|t| t <= now) {
                    line.driver.timeout(now);
                }
                try_again = line.link.next_try.is_some_and(|t| t <= now);
            }
            if try_again {
                self.ctx.connect(id);
            }
        }
        self.settle();
    }
    /// The next effect, in order.
    pub fn poll_effect(&mut self) -> Option<Effect> {
        self.ctx.edit().effects.pop_front()
    }
    /// When it wants to be woken next; `None` once the job is over.
    pub fn poll_timeout(&self) -> Option<Instant> {
        if !self.running {
            return None;
        }
        let s = self.ctx.get();
        let task = s.wakes.first().copied();
        [task, s.lines.next_timeout()].into_iter().flatten().min()
    }
    /// True while the job is not over.
    pub fn is_running(&self) -> bool {
        self.running
    }

    fn take_in(&mut self, input: &Input, before: Instant) {
        let ctx = &self.ctx;
        let now = ctx.now();
        match input {
            Input::Tool { version, format } => {
                ctx.note(Entry::Opened { tool: version.clone(), format: *format });
                if core::mem::replace(&mut ctx.edit().record.opened, true) {
                    ctx.taken_up(now.since(before));
                    // The link of the earlier section ended with the program, whatever that could still write down.
                    for id in LineId::ALL {
                        let was_up = ctx.edit().lines.get_mut(id).is_some_and(|l| l.link.up);
                        if was_up {
                            self.link_down(id, LinkDown::Other, STARTED_AGAIN);
                        }
                    }
                }
                let (id, up) = (ctx.get().lines.in_use(), ctx.get().lines.used().link.up);
                if !up {
                    ctx.connect(id);
                }
            }
            Input::Date(date) => {
                let doubt = crate::date::doubt(date, ctx.get().record.date, now);
                if let Some(ms) = crate::date::parse(date) {
                    let mut s = ctx.edit();
                    s.record.date = Some((now, ms));
                    s.record.ahead_s = crate::date::ahead_s(date).unwrap_or(0);
                }
                ctx.note(Entry::Date { date: date.clone() });
                if let Some(why) = doubt {
                    ctx.remark(format!("this computer's date is not to be trusted: {why}"));
                    ctx.edit().record.date_doubt.get_or_insert(why);
                }
            }
            Input::File { name, bytes } => {
                ctx.note(Entry::File { name: name.clone(), sha256: sha256_hex(bytes), length: bytes.len() as u64 })
            }
            Input::LinkUp { line, link } => {
                if let Some(line) = ctx.edit().lines.get_mut(*line) {
                    line.driver.link_up(now);
                }
                ctx.link_is(*line, true);
                ctx.edit().outcome.origin.simulated_link |= link.starts_with("sim:");
                ctx.note(Entry::LinkUp { line: *line, link: link.clone() });
            }
            Input::LinkDown { line, cause, detail } => self.link_down(*line, *cause, detail),
            Input::Received(line, bytes) => {
                if let Some(line) = ctx.edit().lines.get_mut(*line) {
                    line.driver.receive(now, bytes);
                }
            }
            Input::Operator(act) => {
                {
                    let mut s = ctx.edit();
                    let attended = s.running.attended;
                    let Origin { answers_of_people, answers_of_scripts, .. } = &mut s.outcome.origin;
                    let answers = if attended || act.page.is_some() { answers_of_people } else { answers_of_scripts };
                    *answers = answers.saturating_add(1);
                }
                ctx.answered(act);
            }
            Input::Wake => {}
            Input::Head(code) => {
                let mut s = ctx.edit();
                s.record.anchors.isolated.get_or_insert_with(|| code.clone());
                (s.record.anchors.head, s.changed) = (Some(code.clone()), true);
            }
            Input::Abort(cause) => {
                ctx.remark(match cause {
                    AbortCause::Operator => "the operator stopped the job",
                    AbortCause::Shutdown => "the system ended the program",
                    AbortCause::Internal => "the tool found a fault of its own",
                });
                ctx.edit().running.abort = Some(*cause);
            }
            Input::Attended(by_a_person) => ctx.edit().running.attended = *by_a_person,
            Input::LoggerFile(file) => {
                ctx.note(Entry::LoggerFile {
                    name: file.name.clone(),
                    sha256: file.sha256.clone(),
                    length: file.length,
                    column: file.column.clone(),
                    unit: file.unit.clone(),
                    first: file.first.clone(),
                    readings: (file.readings, file.rows.len() as u64),
                });
                ctx.edit().given = Some(file.clone());
            }
            Input::Pause(cause) => ctx.pause(match cause {
                AbortCause::Operator => "asked for by the operator",
                AbortCause::Shutdown => "the system ends the program, or nobody is there any more",
                AbortCause::Internal => "the tool found a fault of its own",
            }),
        }
    }

    fn link_down(&self, id: LineId, cause: LinkDown, detail: &str) {
        let ctx = &self.ctx;
        let now = ctx.now();
        let mut was_up = false;
        if let Some(line) = ctx.edit().lines.get_mut(id) {
            line.driver.link_down(now, cause);
            was_up = line.link.up;
        }
        ctx.link_is(id, false);
        let mut s = ctx.edit();
        if was_up && s.lines.in_use() == id {
            s.readings.push(Item::Gap(now));
        }
        drop(s);
        ctx.note(Entry::LinkDown { line: id, cause, detail: detail.into() });
    }

    /// Moves everything on until nothing changes.
    fn settle(&mut self) {
        loop {
            for id in LineId::ALL {
                self.drain_driver(id);
            }
            {
                let mut s = self.ctx.edit();
                s.changed = false;
                s.wakes.clear();
            }
            if self.running && self.begun {
                self.running = self.tasks.poll();
            }
            if !self.ctx.get().changed {
                return;
            }
        }
    }

    fn drain_driver(&mut self, id: LineId) {
        let ctx = &self.ctx;
        let mut out = Vec::new();
        while ctx.edit().lines.get_mut(id).is_some_and(|l| l.driver.poll_send(&mut out)) {
            ctx.effect(Effect::Send(id, core::mem::take(&mut out)));
        }
        loop {
            let question = ctx.edit().lines.get_mut(id).and_then(|l| l.driver.poll_question());
            let Some(question) = question else { break };
            ctx.open_question(id, question);
        }
        loop {
            let report = ctx.edit().lines.get_mut(id).and_then(|l| l.driver.poll_report());
            let Some(report) = report else { break };
            self.take_report(id, report);
        }
    }

    fn take_report(&self, id: LineId, report: Report) {
        let ctx = &self.ctx;
        let used = ctx.get().lines.in_use() == id;
        match report {
            Report::Ended(ticket, end) => {
                if let Ok(Reply::Identity((_, abilities))) = &end {
                    ctx.edit().outcome.origin.simulated_unit |= abilities.simulated;
                }
                if let (true, Ok(reply)) = (used, &end) {
                    self.learn(reply);
                }
                ctx.ended((id, ticket), end);
            }
            // The unit on the other line: whoever still waits for its answer gets it, and nothing else counts.
            _ if !used => {}
            Report::Progress { done, total } => {
                let fraction = (total > 0).then(|| f64::from(done) / f64::from(total));
                ctx.progress("moving data to or from the unit", fraction, None);
            }
            Report::StartedAnew(identity, _) => take_identity(ctx, &identity),
            Report::Reading(reading) => self.take_reading(reading),
            Report::Silent => self.stream_lost(&Trouble::Silent),
            Report::Garbled => self.stream_lost(&Trouble::Garbled),
            Report::Unfit(why) => {
                let mut s = ctx.edit();
                s.stream.unfit = Some(why);
                s.changed = true;
            }
            Report::Back => ctx.note(Entry::LineBack),
        }
    }

    /// What a reply tells, whoever asked.
    fn learn(&self, reply: &Reply) {
        match reply {
            Reply::Reading(reading) => self.take_reading(reading.clone()),
            Reply::Identity((identity, _)) => take_identity(&self.ctx, identity),
            Reply::Clock(exchange) => self.take_exchange(*exchange),
            _ => {}
        }
    }

    fn stream_lost(&self, trouble: &Trouble) {
        self.ctx.note_trouble(trouble);
        let mut s = self.ctx.edit();
        let now = s.now;
        s.readings.push(Item::Gap(now));
        s.stream.lost = true;
        s.changed = true;
    }

    fn take_exchange(&self, exchange: ClockExchange) {
        let ClockExchange { sent, device_received_us, device_sent_us, received } = exchange;
        let exchange = clock::Exchange { sent, device_received_us, device_sent_us, received };
        let mut s = self.ctx.edit();
        let rule = clock_rule(&s.inputs.plan.advanced.clock);
        let tie = s.clock.tie.get_or_insert_with(|| clock::Tie::new(rule));
        let Err(error) = tie.push(&exchange) else { return };
        if matches!(error, plumeline_measure::Error::ClockJump { .. }) {
            // The tie has begun anew: no stretch of readings goes across.
            s.clock.tie_number = s.clock.tie_number.wrapping_add(1);
            s.clock.jumps = s.clock.jumps.saturating_add(1);
            let now = s.now;
            s.readings.push(Item::Gap(now));
            s.changed = true;
        }
        drop(s);
        self.ctx.remark(format!("clock: {error}"));
    }

    fn take_reading(&self, reading: Reading) {
        let mut s = self.ctx.edit();
        let s: &mut JobState = &mut s;
        // Where device and log clocks are tied, a reading counts at the moment it was measured; it can't have been later than
        // its arrival.
        let mapped = reading.device_us.and_then(|us| s.clock.tie.as_ref()?.map(us).ok());
        if let Some(m) = mapped
            && s.clock.lateness.contradicts(
                s.clock.tie_number,
                reading.received.since(m.at).as_secs_f64() - s.inputs.plan.advanced.clock.widths * m.u_s,
                &s.inputs.plan.advanced.clock,
            )
        {
            s.untie();
            let now = s.now;
            s.readings.push(Item::Gap(now));
            let text = "clock: by the exchanges every reading comes late, so the unit's clock and its readings contradict each other";
            s.effects.push_back(Effect::Note(Entry::Remark { text: text.into() }));
        }
        let mapped = mapped.filter(|_| s.clock.tie.is_some());
        let tie = mapped.map(|_| s.clock.tie_number);
        let told = mapped.map_or(reading.received, |m| m.at.min(reading.received));
        let unsure_s = mapped.map_or(0.0, |m| s.inputs.plan.advanced.clock.widths * m.u_s);
        let counted = Counted { at: told, tie, stamp_us: reading.device_us };
        let (counted, gap) = s.clock.counted.map_or((counted, false), |last| counted.after(&last, unsure_s));
        if gap {
            let now = s.now;
            s.readings.push(Item::Gap(now));
        }
        s.clock.counted = Some(counted);
        let at = counted.at;
        // A reading missed here and there shows in the times of those that came: whoever judges them says what a gap is.
        let basis = s.lines.used().driver.abilities().map_or(FlowBasis::Actual, |a| a.flow_basis);
        s.effects.push_back(Effect::Reading(reading.clone(), basis));
        let alone = s.alone();
        s.readings.push(Item::Reading(Rc::new(Timed { at, reading, alone })));
        s.stream.lost = false;
        s.changed = true;
    }
}

fn clock_rule(rules: &ClockRules) -> clock::Rule {
    clock::Rule {
        max_drift_ppm: rules.most_drift * 1e6,
        max_delay_s: rules.longest_delay_s,
        resolution_s: rules.resolution_s,
        reach_s: rules.reach_s,
    }
}

/// A unit said who it is. A new start that nobody asked for makes void what rested on the one before.
fn take_identity(ctx: &Context, identity: &Identity) {
    let anew = {
        let mut s = ctx.edit();
        let anew = s
            .unit
            .identity
            .as_ref()
            .is_some_and(|was| was.serial != identity.serial || was.boot_id != identity.boot_id);
        s.unit.identity = Some(identity.clone());
        s.unit.unidentified = false;
        if anew {
            s.untie();
            s.clock.jumps = 0;
            s.stream.lost = true;
            s.inhibit.on = false;
            s.unit.started_anew |= !s.unit.start_expected;
            let now = s.now;
            s.readings.push(Item::Gap(now));
        }
        anew
    };
    if anew {
        ctx.note(Entry::StartedAnew { boot_id: identity.boot_id });
    }
}
