//! A simulated unit and site for other programs: on a pseudo-terminal or TCP, with a site control of its own.
use crate::args::Simulate;
use plumeline_base::Instant;
use plumeline_job::{Kind, TEXT_LIMIT, input_file};
use plumeline_link::{RealClock, serve::Server};
use plumeline_runtime::{
    clock,
    failure::{Exit, Failure},
    operator::SimulatedSite,
    scenario,
    show::print_result,
    unit_end::UnitEnd,
};
use plumeline_simulator::scenario::Which;
use std::{future::pending, path::PathBuf, rc::Rc};
use tokio::{
    io::{AsyncBufReadExt, AsyncWriteExt, BufReader},
    net::TcpListener,
    sync::Notify,
};

/// `plumeline simulate`
pub fn simulate(args: &Simulate) -> Result<Exit, Failure> {
    let mut scenario = scenario::read(&args.scenario)?;
    if let Some(path) = &args.store {
        scenario.store = match input_file::read(path, "read the units' settings", TEXT_LIMIT as u64) {
            Ok(bytes) => Some(bytes),
            Err(problem) if problem.kind() == Kind::Absent => None,
            Err(problem) => return Err(problem.into()),
        };
    }
    let site = SimulatedSite::new(scenario::simulation(scenario, Instant::START)?);
    let runtime = clock::event_loop()?;
    runtime.block_on(tokio::task::LocalSet::new().run_until(serve(args, site)))
}

/// The end of a line, at this address or on a pseudo-terminal.
async fn server(tcp: Option<&str>, pty: Option<&Option<PathBuf>>) -> Result<Server, Failure> {
    Ok(match tcp {
        Some(address) => Server::tcp(address).await?,
        None => Server::pty(pty.and_then(|p| p.as_deref()))?,
    })
}

async fn serve(args: &Simulate, site: SimulatedSite) -> Result<Exit, Failure> {
    let clock = RealClock::starting_at(Instant::START, args.speed);
    let apart = args.old_tcp.is_some() || args.old_pty.is_some();
    let main = server(args.tcp.as_deref(), args.pty.as_ref()).await?;
    let mut unit = UnitEnd::over(main, site.clone(), clock).of(apart.then_some(Which::Replacement));
    unit.store.clone_from(&args.store);
    let mut outgoing = None;
    if apart {
        let own = server(args.old_tcp.as_deref(), args.old_pty.as_ref()).await?;
        let mut end = UnitEnd::over(own, site.clone(), clock).of(Some(Which::Outgoing));
        end.disturbed.clone_from(&unit.disturbed);
        outgoing = Some(end);
    }
    let control = TcpListener::bind(&args.control).await.map_err(|e| {
        Failure::trouble(
            format!("site control {}: {e}", args.control),
            "choose another address with --control, or 127.0.0.1:0 for a free one",
        )
    })?;
    print_result(&format!("unit: {}", unit.address()));
    if let Some(outgoing) = &outgoing {
        print_result(&format!("outgoing unit: {}", outgoing.address()));
    }
    print_result(&format!("site control: {}", control.local_addr()?));
    print_result("ready");
    let disturbed = unit.disturbed.clone();
    tokio::task::spawn_local(async move {
        while let Ok((stream, _)) = control.accept().await {
            tokio::task::spawn_local(talk(stream, site.clone(), clock, disturbed.clone()));
        }
    });
    let own = async {
        match &mut outgoing {
            Some(outgoing) => outgoing.serve().await,
            None => pending().await,
        }
    };
    tokio::select! {
        end = unit.serve() => end.map(|()| Exit::Pass),
        end = own => end.map(|()| Exit::Pass),
        _ = tokio::signal::ctrl_c() => Ok(Exit::Pass),
    }
}

/// One conversation of the site control: a line in, a line out. Who sends nonsense gets a reply that says so.
async fn talk(stream: tokio::net::TcpStream, site: SimulatedSite, clock: RealClock, disturbed: Rc<Notify>) {
    let simulation = site.simulation();
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read).lines();
    while let Ok(Some(text)) = lines.next_line().await {
        let reply = simulation.borrow_mut().handle_control(clock.now(), &text);
        disturbed.notify_waiters();
        if write.write_all(format!("{reply}\n").as_bytes()).await.is_err() {
            return;
        }
    }
}
