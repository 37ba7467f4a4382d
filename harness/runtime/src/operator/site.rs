//! Ways into a simulated site, past every line: its control channel.
//!
//! Not here: which command a prompt comes to ([`super::acts`]).
use crate::failure::Failure;
use plumeline_base::Instant;
use plumeline_simulator::{Simulation, scenario::Which};
use std::{
    cell::RefCell,
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    rc::Rc,
    time::Duration,
};

/// The way into a simulated site: a line goes in, a line comes back.
pub trait Site {
    /// Sends one command and gives the reply.
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure>;
}

/// A simulation in this process, shared by the lines to its units and by whoever acts at its site.
#[derive(Clone)]
pub struct SimulatedSite(Rc<RefCell<Simulation>>);
impl SimulatedSite {
    /// Shares a simulation.
    pub fn new(simulation: Simulation) -> Self {
        Self(Rc::new(RefCell::new(simulation)))
    }
    /// The simulation, to be served on a line or looked at.
    pub fn simulation(&self) -> Rc<RefCell<Simulation>> {
        self.0.clone()
    }
    pub(crate) fn poll_timeout(&self) -> Option<Instant> {
        self.0.borrow().poll_timeout()
    }
    pub(crate) fn handle_timeout(&self, now: Instant) {
        let mut simulation = self.0.borrow_mut();
        if simulation.poll_timeout().is_some_and(|t| t <= now) {
            simulation.handle_timeout(now);
        }
    }
    pub(crate) fn poll_transmit(&self, unit: Option<Which>) -> Option<Vec<u8>> {
        let mut simulation = self.0.borrow_mut();
        match unit {
            Some(unit) => simulation.poll_transmit_of(unit),
            None => simulation.poll_transmit(),
        }
    }
    pub(crate) fn handle_bytes(&self, unit: Option<Which>, now: Instant, bytes: &[u8]) {
        let mut simulation = self.0.borrow_mut();
        match unit {
            Some(unit) => simulation.handle_bytes_of(unit, now, bytes),
            None => simulation.handle_bytes(now, bytes),
        }
    }
}
impl Site for Simulation {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        Ok(self.handle_control(now, line))
    }
}
impl Site for SimulatedSite {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        Ok(self.0.borrow_mut().handle_control(now, line))
    }
}

/// The site control of a simulator in another process, over TCP.
pub struct RemoteSite {
    write: TcpStream,
    read: BufReader<TcpStream>,
}
impl RemoteSite {
    /// Connects to `HOST:PORT`.
    pub fn connect(address: &str) -> Result<Self, Failure> {
        let told = |e: std::io::Error| {
            Failure::trouble(
                format!("site control {address}: {e}"),
                "start `plumeline simulate` first and give the address that it prints as site control",
            )
        };
        let write = TcpStream::connect(address).map_err(told)?;
        write.set_nodelay(true).map_err(told)?;
        write.set_read_timeout(Some(Duration::from_secs(10))).map_err(told)?;
        let read = BufReader::new(write.try_clone().map_err(told)?);
        Ok(Self { write, read })
    }
}
impl Site for RemoteSite {
    fn command(&mut self, _: Instant, line: &str) -> Result<String, Failure> {
        let lost = |why: String| {
            Failure::trouble(
                format!("site control: {why}"),
                "see whether the simulator still runs, then run the job again",
            )
        };
        self.write.write_all(format!("{line}\n").as_bytes()).map_err(|e| lost(e.to_string()))?;
        let mut reply = String::new();
        match self.read.read_line(&mut reply) {
            Ok(0) => Err(lost("the simulator closed it".into())),
            Ok(_) => Ok(reply.trim_end().to_owned()),
            Err(e) => Err(lost(e.to_string())),
        }
    }
}

impl Site for Box<dyn Site> {
    fn command(&mut self, now: Instant, line: &str) -> Result<String, Failure> {
        (**self).command(now, line)
    }
}

/// A site that nobody has a way into: prompts are answered, nothing is done.
pub struct NoSite;
impl Site for NoSite {
    fn command(&mut self, _: Instant, _: &str) -> Result<String, Failure> {
        Ok(r#"{"ok":true}"#.into())
    }
}
