//! Times the steady solve for `scripts/bench_airflow.py`, which runs a general solver beside it and compares.
//!
//! Reads commands from standard input, one a line, and answers each with one line of JSON:
//! `load FILE` reads a network in the reference makers' form; `solve LAW MOMENTUM TOLERANCE TIMES` lays it out and solves it
//! from cold so often, and gives the time of each (ns) and the Newton steps, or says why not; `flows` gives the last opening flows (m3/s). Not a benchmark
//! by itself: criterion benches live in `benches/`.
#[path = "../../airflow/tests/reference/case.rs"]
mod case;

use case::Case;
use plumeline_airflow::{Network, SolveOptions, friction::FrictionLaw};
use plumeline_base::pipework::Pipework;
use std::{error::Error, io::BufRead, time::Instant};

fn law(name: &str) -> Result<FrictionLaw, Box<dyn Error>> {
    match name {
        "churchill" => Ok(FrictionLaw::Churchill),
        "hagen_dunlop_swamee_jain" => Ok(FrictionLaw::HagenDunlopSwameeJain),
        other => Err(format!("no friction law {other}").into()),
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut pipework: Option<Pipework> = None;
    let mut flows = Vec::new();
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let words: Vec<&str> = line.split_whitespace().collect();
        match (words.as_slice(), &pipework) {
            (["load", path], _) => {
                let case: Case = serde_json::from_str(&std::fs::read_to_string(path)?)?;
                println!("{{\"loaded\":{:?}}}", case.name);
                pipework = Some(case.pipework());
            }
            (["solve", name, momentum, tolerance, times], Some(pipework)) => {
                let options = SolveOptions {
                    friction: law(name)?,
                    momentum: momentum.parse()?,
                    tolerance: tolerance.parse()?,
                    ..SolveOptions::default()
                };
                let built = Instant::now();
                let network = Network::build(pipework, &options)?;
                let mut workspace = network.workspace();
                let build_ns = built.elapsed().as_nanos();
                let mut iterations = 0;
                let mut ns = Vec::new();
                let mut refused = None;
                for _ in 0..times.parse::<usize>()? {
                    let start = Instant::now();
                    match network.solve(&mut workspace) {
                        Ok(solution) => {
                            ns.push(start.elapsed().as_nanos());
                            iterations = solution.iterations;
                            flows.clone_from(&solution.opening_flow_m3_s);
                        }
                        Err(e) => refused = Some(e.to_string()),
                    }
                }
                match refused {
                    Some(why) => println!("{{\"refused\":{why:?}}}"),
                    None => println!("{{\"build_ns\":{build_ns},\"iterations\":{iterations},\"ns\":{ns:?}}}"),
                }
            }
            (["flows"], Some(_)) => println!("{flows:?}"),
            _ => return Err(format!("not a command, or nothing loaded: {line}").into()),
        }
    }
    Ok(())
}
