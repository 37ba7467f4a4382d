//! A simulated unit and site for other programs: on a pseudo-terminal or TCP, with a site control of its own.
use crate::args::Simulate;
use plumeline_base::Instant;
use plumeline_link::{RealClock, serve::Server};
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    scenario,
    show::print_result,
    unit_end::UnitEnd,
};
use plumeline_simulator::Simulation;
use std::{cell::RefCell, rc::Rc};
use tokio::{
    io::{AsyncBufReadExt, AsyncWriteExt, BufReader},
    net::TcpListener,
    sync::Notify,
};

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
    let simulation = Rc::new(RefCell::new(scenario::simulation(scenario, Instant::START)?));
    let runtime = clock::event_loop()?;
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
    print_result(&format!("unit: {}", unit.address()));
    print_result(&format!("site control: {}", control.local_addr()?));
    print_result("ready");
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
