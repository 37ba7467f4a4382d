//! A job against the bundled simulator in one process and in virtual time: no sleeps, no threads, any platform.
//!
//! Time jumps from one due instant to the next. The bytes go through the fault injector as on a real line.
use crate::{
    failure::Failure,
    operator::Script,
    session::{Keeper, Outward, Session},
    show::Show,
};
use plumeline_base::{
    Instant,
    input::{Input, LinkDown},
};
use plumeline_link::faults::{FaultSpec, Faults};
use plumeline_simulator::Simulation;
use std::collections::VecDeque;

/// The line between session and simulation.
struct Line {
    spec: FaultSpec,
    to_unit: Faults,
    from_unit: Faults,
    up: bool,
}

/// A job, its simulated site and its scripted operator.
pub struct VirtualJob<'a, K> {
    session: &'a mut Session<K>,
    simulation: &'a mut Simulation,
    script: &'a mut Script,
    show: &'a mut dyn Show,
    line: Line,
    now: Instant,
    inputs: VecDeque<Input>,
    done: bool,
}

impl<'a, K: Keeper> VirtualJob<'a, K> {
    /// A job that starts at `now` over a line with these faults.
    pub fn new(
        session: &'a mut Session<K>,
        simulation: &'a mut Simulation,
        script: &'a mut Script,
        show: &'a mut dyn Show,
        faults: FaultSpec,
        seed: u64,
        now: Instant,
    ) -> Self {
        let line = Line {
            to_unit: Faults::new(faults.clone(), seed, 0),
            from_unit: Faults::new(faults.clone(), seed, 1),
            spec: faults,
            up: false,
        };
        Self { session, simulation, script, show, line, now, inputs: VecDeque::new(), done: false }
    }

    /// Runs the job to its end. `opening` are the first inputs (tool, date, files).
    pub fn run(mut self, opening: Vec<Input>) -> Result<(), Failure> {
        for prompt in self.session.open_prompts() {
            self.outward(Outward::Ask(prompt))?;
        }
        self.inputs.extend(opening);
        loop {
            self.exchange()?;
            if self.done {
                return Ok(());
            }
            let due = [
                self.simulation.poll_timeout(),
                self.session.wake_at(),
                self.script.due(),
                self.line.to_unit.next_due(),
                self.line.from_unit.next_due(),
                self.line.up.then(|| self.line.spec.next_unplug(self.now)).flatten(),
            ];
            let Some(next) = due.into_iter().flatten().min() else {
                return Err(Failure::internal("the job waits for nothing and is not over"));
            };
            self.now = self.now.max(next);
            self.what_is_due()?;
        }
    }

    fn what_is_due(&mut self) -> Result<(), Failure> {
        if self.line.up && self.line.spec.unplugged(self.now) {
            self.line.up = false;
            self.line.to_unit.clear();
            self.line.from_unit.clear();
            self.inputs.push_back(Input::LinkDown {
                cause: LinkDown::Unplugged,
                detail: "the injected fault pulled the cable".into(),
            });
        }
        if self.simulation.poll_timeout().is_some_and(|t| t <= self.now) {
            self.simulation.handle_timeout(self.now);
        }
        while let Some(act) = self.script.answer_due(self.now, &mut *self.simulation)? {
            self.inputs.push_back(Input::Operator(act));
        }
        if self.session.wake_at().is_some_and(|t| t <= self.now) {
            self.inputs.push_back(Input::Wake);
        }
        Ok(())
    }

    /// Moves bytes and inputs until nothing moves any more at this instant.
    fn exchange(&mut self) -> Result<(), Failure> {
        loop {
            let mut moved = false;
            while let Some(bytes) = self.simulation.poll_transmit() {
                moved = true;
                if self.line.up {
                    self.line.from_unit.feed(self.now, &bytes);
                }
            }
            while let Some((_, bytes)) = self.line.from_unit.take_due(self.now) {
                moved = true;
                self.inputs.push_back(Input::Received(bytes));
            }
            while let Some((_, bytes)) = self.line.to_unit.take_due(self.now) {
                moved = true;
                self.simulation.handle_bytes(self.now, &bytes);
            }
            while let Some(input) = self.inputs.pop_front() {
                moved = true;
                for out in self.session.feed(self.now, input)? {
                    self.outward(out)?;
                }
            }
            if !moved || self.done {
                return Ok(());
            }
        }
    }

    fn outward(&mut self, out: Outward) -> Result<(), Failure> {
        self.show.show(self.now, &out);
        match out {
            Outward::Send(bytes) if self.line.up => self.line.to_unit.feed(self.now, &bytes),
            Outward::Connect if self.line.spec.unplugged(self.now) => self.inputs.push_back(Input::LinkDown {
                cause: LinkDown::Absent,
                detail: "the injected fault holds the cable out".into(),
            }),
            Outward::Connect => {
                self.line.up = true;
                self.inputs.push_back(Input::LinkUp { link: "sim:".into() });
            }
            Outward::Ask(prompt) => self.script.asked(self.now, &prompt),
            Outward::Withdraw(id) => self.script.withdrawn(id),
            Outward::Done(_) => self.done = true,
            _ => {}
        }
        Ok(())
    }
}
