//! Many simulated units at once, each on a TCP port of its own behind the serving code of `plumeline simulate`, on one thread;
//! on another thread the tool's end of every line. Tells how long replies take and how many readings come late.
//! `cargo run --release -p plumeline --example many_units -- [units 500] [readings a second 10] [seconds 60]`
use plumeline_base::{Instant as LogInstant, input::LinkDown};
use plumeline_link::{Link, LinkEvent, RealClock, serve::Server};
use plumeline_runtime::failure::Failure;
use plumeline_runtime::{operator::SimulatedSite, unit_end::UnitEnd};
use plumeline_simulator::{Scenario, Simulation, demo::straight_pipes, models::invented::air_path, scenario::Which};
use plumewire::{
    ClockRequest, Decoder, HelloRequest, MAX_WIRE, Message, Operation, ReadingsStart, Reply, Report, Request,
};
use std::{
    process::ExitCode,
    sync::mpsc::{Sender, channel},
    time::{Duration, Instant},
};
use tokio::{net::TcpStream, task::LocalSet};

/// How often each unit is asked for its clock.
const ASK_EVERY: Duration = Duration::from_secs(1);

/// What one line showed.
#[derive(Default)]
struct Seen {
    replies_us: Vec<u64>,
    unanswered: u64,
    /// Arrival less the unit's own time of measuring, us: their least is the offset of the clocks.
    readings_us: Vec<i64>,
    lost: u64,
    failed: Option<String>,
}

fn main() -> ExitCode {
    let mut numbers = std::env::args().skip(1).map(|a| a.parse::<u64>());
    let mut next = |usual| numbers.next().unwrap_or(Ok(usual));
    let (Ok(units), Ok(hz), Ok(seconds)) = (next(500), next(10), next(60)) else {
        eprintln!("usage: many_units [units] [readings a second] [seconds]");
        return ExitCode::from(3);
    };
    let (tell, told) = channel();
    // Serves until the process ends.
    std::thread::spawn(move || {
        if let Err(failure) = serve(units, &tell) {
            eprintln!("{}", failure.render(false));
        }
    });
    let addresses: Vec<String> = told.iter().take(units as usize).collect();
    if addresses.len() as u64 != units {
        return ExitCode::FAILURE;
    }
    println!("{units} units serve; {hz} readings a second, {seconds} s");
    match listen(&addresses, hz as u8, Duration::from_secs(seconds)) {
        Ok(seen) => {
            summary(&seen, units, hz, seconds);
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}

fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_current_thread().enable_all().build()
}

fn serve(units: u64, tell: &Sender<String>) -> Result<(), Failure> {
    let told = |e: std::io::Error| Failure::trouble(e.to_string(), "close other programs");
    let runtime = runtime().map_err(told)?;
    let local = LocalSet::new();
    local.block_on(&runtime, async {
        let mut ends = Vec::new();
        let clock = RealClock::starting_at(LogInstant::START, 1.0);
        for seed in 0..units {
            let site = straight_pipes(&[12, 12], 4.0, 3e-3, air_path(Which::Replacement));
            let scenario = Scenario { mounted: Which::Replacement, ..Scenario::new(site, seed) };
            let simulation =
                Simulation::new(scenario, clock.now()).map_err(|e| Failure::input(e.to_string(), "report this"))?;
            let server = Server::tcp("127.0.0.1:0").await?;
            ends.push(UnitEnd::over(server, SimulatedSite::new(simulation), clock));
        }
        let mut tasks = Vec::new();
        for mut end in ends {
            let _ = tell.send(end.address().trim_start_matches("tcp:").to_owned());
            tasks.push(tokio::task::spawn_local(async move { end.serve().await }));
        }
        for task in tasks {
            let _ = task.await;
        }
        Ok(())
    })
}

fn listen(addresses: &[String], hz: u8, long: Duration) -> std::io::Result<Vec<Seen>> {
    let runtime = runtime()?;
    let local = LocalSet::new();
    local.block_on(&runtime, async {
        let start = Instant::now() + Duration::from_secs(5);
        let count = addresses.len() as u32;
        let mut tasks = Vec::new();
        for (i, address) in addresses.iter().enumerate() {
            let stream = TcpStream::connect(address).await?;
            stream.set_nodelay(true)?;
            let link = Link::over(stream, address.clone(), LinkDown::Closed);
            // Spread over the second, as units that nobody starts together are.
            let first = start + ASK_EVERY * i as u32 / count;
            tasks.push(tokio::task::spawn_local(one(link, hz, first, first + long)));
        }
        let mut all = Vec::new();
        for task in tasks {
            all.push(task.await.unwrap_or_else(|e| Seen { failed: Some(e.to_string()), ..Seen::default() }));
        }
        Ok(all)
    })
}

/// The tool's end of one line.
async fn one(mut link: Link, hz: u8, first: Instant, end: Instant) -> Seen {
    let began = Instant::now();
    let (mut seen, mut decoder) = (Seen::default(), Decoder::new());
    let (mut conversation, mut sequence, mut last_report) = (0, 0, None);
    let mut asked: Option<(u32, Instant)> = None;
    let mut ask_at = first;
    let mut send = |link: &mut Link, conversation: u32, request: Request<'_>| {
        let mut out = [0; MAX_WIRE];
        sequence += 1;
        if let Ok(length) = Message::Request(request).write(conversation, sequence, &mut out) {
            link.send(&out[..length]);
        }
        sequence
    };
    send(&mut link, 0, Request::Hello(HelloRequest { version_min: 1, version_max: 1, token: 1 }));
    loop {
        tokio::select! {
            event = link.next() => {
                let Some(LinkEvent::Received(bytes)) = event else {
                    seen.failed = Some(format!("{event:?}"));
                    return seen;
                };
                let now = Instant::now();
                let mut rest = &bytes[..];
                while let Some(found) = decoder.next_frame(&mut rest) {
                    let Ok(frame) = found else { continue };
                    let header = frame.header;
                    match Message::decode(&frame) {
                        Ok(Message::Reply(Reply::Hello(_))) => {
                            conversation = header.conversation;
                            send(&mut link, conversation, Request::ReadingsStart(ReadingsStart { rate_hz: hz }));
                        }
                        Ok(Message::Reply(Reply::Clock(_))) => {
                            if let Some((_, at)) = asked.take_if(|(s, _)| *s == header.sequence) {
                                seen.replies_us.push((now - at).as_micros() as u64);
                            }
                        }
                        Ok(Message::Report(Report::Reading(r))) if header.operation == Operation::ReadingsStart as u8 => {
                            if now >= first {
                                let arrived = (now - began).as_micros() as i64;
                                seen.readings_us.push(arrived - r.taken_us as i64);
                                seen.lost += last_report.map_or(0, |l: u32| u64::from(header.sequence.wrapping_sub(l) - 1));
                            }
                            last_report = Some(header.sequence);
                        }
                        _ => {}
                    }
                }
            }
            () = tokio::time::sleep_until(ask_at.into()) => {
                if ask_at >= end {
                    return seen;
                }
                seen.unanswered += u64::from(asked.is_some());
                asked = Some((send(&mut link, conversation, Request::Clock(ClockRequest { sent_us: 0 })), Instant::now()));
                ask_at += ASK_EVERY;
            }
        }
    }
}

fn summary(seen: &[Seen], units: u64, hz: u64, seconds: u64) {
    let mut replies: Vec<u64> = seen.iter().flat_map(|s| s.replies_us.iter().copied()).collect();
    let mut delays: Vec<u64> = Vec::new();
    for s in seen {
        let least = s.readings_us.iter().min().copied().unwrap_or(0);
        delays.extend(s.readings_us.iter().map(|d| d.abs_diff(least)));
    }
    let period = 1_000_000 / hz.max(1);
    let late = delays.iter().filter(|d| **d > period).count();
    let quantiles = |name: &str, values: &mut Vec<u64>| {
        values.sort_unstable();
        let at = |q: f64| values.get(((values.len() as f64 * q) as usize).min(values.len().saturating_sub(1)));
        let ms = |q| at(q).map_or(f64::NAN, |us| *us as f64 / 1e3);
        println!(
            "{name}: {} in all; ms: median {:.2}, 99 % {:.2}, 99.9 % {:.2}, most {:.2}",
            values.len(),
            ms(0.5),
            ms(0.99),
            ms(0.999),
            ms(1.0)
        );
    };
    quantiles("replies to a clock request", &mut replies);
    quantiles("readings, later than the promptest of their unit", &mut delays);
    println!(
        "readings expected {}, lost {}, later than {} ms: {late}; requests unanswered after 1 s: {}; lines that failed: {}",
        units * hz * seconds,
        seen.iter().map(|s| s.lost).sum::<u64>(),
        period / 1000,
        seen.iter().map(|s| s.unanswered).sum::<u64>(),
        seen.iter().filter(|s| s.failed.is_some()).count()
    );
}
