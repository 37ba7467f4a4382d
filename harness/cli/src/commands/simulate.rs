//! A simulated unit and site for other programs: on a pseudo-terminal or TCP, with a site control of its own.
use crate::{
    args::Simulate,
    failure::{Exit, Failure},
    scenario,
    show::always,
};
use plumeline_base::Instant;
use plumeline_link::{
    RealClock,
    serve::{Server, ServerEvent},
};
use plumeline_simulator::Simulation;
use std::{
    cell::RefCell,
    path::{Path, PathBuf},
    rc::Rc,
};
use tokio::{
    io::{AsyncBufReadExt, AsyncWriteExt, BufReader},
    net::TcpListener,
    sync::Notify,
};

/// The unit's end of a line with the simulation behind it.
pub struct UnitEnd {
    server: Server,
    simulation: Rc<RefCell<Simulation>>,
    clock: RealClock,
    /// Something was done at the site: look again.
    pub disturbed: Rc<Notify>,
    store: Option<PathBuf>,
    stored: u64,
}
impl UnitEnd {
    /// On a new pseudo-terminal.
    pub fn pty(link: Option<&Path>, simulation: Rc<RefCell<Simulation>>, clock: RealClock) -> Result<Self, Failure> {
        Ok(Self::over(Server::pty(link)?, simulation, clock))
    }
    /// On a line that is open already.
    pub fn over(server: Server, simulation: Rc<RefCell<Simulation>>, clock: RealClock) -> Self {
        Self { server, simulation, clock, disturbed: Rc::default(), store: None, stored: 0 }
    }
    /// How the other end is named on a command line.
    pub fn address(&self) -> &str {
        self.server.address()
    }
    /// Serves until the line itself fails.
    pub async fn serve(&mut self) -> Result<(), Failure> {
        loop {
            {
                let mut sim = self.simulation.borrow_mut();
                while let Some(bytes) = sim.poll_transmit() {
                    self.server.send(&bytes);
                }
            }
            self.keep()?;
            // The site's script changes the simulation behind our back: look at least this often (log time 100 ms).
            let now = self.clock.now();
            let soon = now + std::time::Duration::from_millis(100);
            let due = self.simulation.borrow().poll_timeout().map_or(soon, |t| t.min(soon));
            let disturbed = self.disturbed.clone();
            tokio::select! {
                event = self.server.next() => match event? {
                    ServerEvent::Received(bytes) => self.simulation.borrow_mut().handle_bytes(self.clock.now(), &bytes),
                    ServerEvent::Opened(who) => tracing::info!(%who, "connected"),
                    ServerEvent::Gone => tracing::info!("disconnected"),
                },
                () = self.clock.until(due) => {}
                () = disturbed.notified() => {}
            }
            let now = self.clock.now();
            if self.simulation.borrow().poll_timeout().is_some_and(|t| t <= now) {
                self.simulation.borrow_mut().handle_timeout(now);
            }
        }
    }
    /// Keeps the units' settings when they have changed: whole old or whole new, never a mixture.
    fn keep(&mut self) -> Result<(), Failure> {
        let Some(path) = &self.store else { return Ok(()) };
        let sim = self.simulation.borrow();
        let generation = sim.store_generation();
        if generation != self.stored {
            plumeline_job::disk::replace(&plumeline_job::disk::OsDisk, path, &sim.store())
                .map_err(|e| plumeline_job::Problem::from_io(path, "keep the units' settings", &e))?;
            self.stored = generation;
        }
        Ok(())
    }
}

/// `plumeline simulate`
pub fn simulate(args: &Simulate) -> Result<Exit, Failure> {
    let mut scenario = scenario::read(&args.scenario)?;
    if let Some(path) = &args.store {
        scenario.store = match std::fs::read(path) {
            Ok(bytes) => Some(bytes),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
            Err(e) => return Err(plumeline_job::Problem::from_io(path, "read the units' settings", &e).into()),
        };
    }
    let simulation = Rc::new(RefCell::new(super::run::simulation(scenario, Instant::START)?));
    let runtime = super::run::runtime()?;
    runtime.block_on(tokio::task::LocalSet::new().run_until(serve(args, simulation)))
}

async fn serve(args: &Simulate, simulation: Rc<RefCell<Simulation>>) -> Result<Exit, Failure> {
    let clock = RealClock::starting_at(Instant::START, args.speed);
    let server = match &args.tcp {
        Some(address) => Server::tcp(address).await?,
        None => Server::pty(args.pty.as_ref().and_then(|p| p.as_deref()))?,
    };
    let mut unit = UnitEnd::over(server, simulation.clone(), clock);
    unit.store.clone_from(&args.store);
    let control = TcpListener::bind(&args.control).await.map_err(|e| {
        Failure::trouble(
            format!("site control {}: {e}", args.control),
            "choose another address with --control, or 127.0.0.1:0 for a free one",
        )
    })?;
    always(&format!("unit: {}", unit.address()));
    always(&format!("site control: {}", control.local_addr()?));
    always("ready");
    let disturbed = unit.disturbed.clone();
    tokio::task::spawn_local(async move {
        while let Ok((stream, _)) = control.accept().await {
            tokio::task::spawn_local(talk(stream, simulation.clone(), clock, disturbed.clone()));
        }
    });
    tokio::select! {
        end = unit.serve() => end.map(|()| Exit::Pass),
        _ = tokio::signal::ctrl_c() => Ok(Exit::Pass),
    }
}

/// One conversation of the site control: a line in, a line out. Who sends nonsense gets a reply that says so.
async fn talk(
    stream: tokio::net::TcpStream,
    simulation: Rc<RefCell<Simulation>>,
    clock: RealClock,
    disturbed: Rc<Notify>,
) {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read).lines();
    while let Ok(Some(text)) = lines.next_line().await {
        let reply = simulation.borrow_mut().handle_control(clock.now(), &text);
        disturbed.notify_one();
        if write.write_all(format!("{reply}\n").as_bytes()).await.is_err() {
            return;
        }
    }
}
