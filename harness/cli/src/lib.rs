//! The `plumeline` command as a library, so that whole jobs can be driven by tests and benchmarks.
//!
//! Here are arguments and commands. Not here: how a job is run (runtime), what a job is (procedure), files (job, trace),
//! pages (report), campaigns and batches (lab).
pub mod args;
mod beside;
pub mod capture;
pub mod carrying;
pub mod commands;
mod inspection;
mod live;
mod output;
pub mod page;
pub mod predict;
mod stamps;
mod unit_log;

use args::{Cli, Command, SettingsOf};
use clap::Parser;
use plumeline_runtime::{
    failure::{Exit, Failure},
    show,
};
use std::process::ExitCode;
use tracing_subscriber::{
    filter::{LevelFilter, Targets},
    fmt,
    layer::{Layer as _, SubscriberExt as _},
    util::SubscriberInitExt as _,
};

/// Reads the arguments, runs one command, gives the exit code.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => {
            // Help and version are no errors; wrong usage is our code 3, not the parser's own.
            if e.use_stderr() {
                show::print_trouble(e.render().to_string().trim_end());
                return Exit::Input.into();
            }
            let _ = e.print();
            return Exit::Pass.into();
        }
    };
    if cli.quiet {
        show::be_quiet();
    }
    match trace_to_stderr(cli.verbose).and_then(|()| command(&cli.command)) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            show::print_failure(&failure);
            failure.exit().into()
        }
    }
}

fn command(command: &Command) -> Result<Exit, Failure> {
    match command {
        Command::Demo(a) => commands::demo::demo(a),
        Command::Lies => commands::lies::lies(),
        Command::Simulate(a) => commands::simulate::simulate(a),
        Command::New(a) => commands::new::new(a),
        Command::PlanCheck(a) => commands::plan_check::plan_check(a),
        Command::Run(a) => commands::run::run(a),
        Command::Watch(a) => commands::watch::watch(a),
        Command::Replay(a) => commands::files::replay(a),
        Command::Report(a) => commands::files::report(a),
        Command::Check(a) => commands::check::check(a),
        Command::Design(a) => commands::design::design(a),
        Command::Close(a) => commands::close::close(a),
        Command::Stamp(a) => commands::stamp::stamp(a),
        Command::Compare(a) => commands::compare::compare(a),
        Command::Settings(SettingsOf::Sheet(a)) => commands::sheet::sheet(a),
        Command::Key(a) => commands::key::key(a),
        Command::Pack(a) => commands::close::pack(a),
        Command::Unpack(a) => commands::close::unpack(a),
        Command::Predict(a) => commands::predict::predict(a),
        Command::Describe(a) => commands::describe::describe(a),
        Command::Capture(a) => commands::settings::capture(a),
        Command::Show(a) => commands::settings::show(a),
        Command::Diff(a) => commands::settings::diff(a),
        Command::Carry(a) => commands::carry::carry(a),
        Command::Judge(a) => commands::judge::judge(a),
        Command::Campaign(a) => commands::campaign::campaign(a),
        Command::Ports(a) => commands::ports::ports(a),
        Command::Batch(a) => commands::batch::batch(a),
        Command::Completions(a) => commands::manual::completions(a),
        Command::Man(a) => commands::manual::man(a),
    }
}

/// What goes on inside, on standard error; `RUST_LOG` (`LEVEL` or `TARGET=LEVEL`, separated by commas) has the last word.
fn trace_to_stderr(verbose: u8) -> Result<(), Failure> {
    let level = match verbose {
        0 => LevelFilter::WARN,
        1 => LevelFilter::INFO,
        2 => LevelFilter::DEBUG,
        _ => LevelFilter::TRACE,
    };
    let filter = match std::env::var("RUST_LOG") {
        Ok(text) if !text.trim().is_empty() => text.parse().map_err(|e| {
            let remedy =
                "write LEVEL or TARGET=LEVEL, separated by commas; levels are off, error, warn, info, debug and trace";
            Failure::input(format!("the variable RUST_LOG is `{text}`: {e}"), remedy)
        })?,
        _ => Targets::new().with_default(level),
    };
    let lines = fmt::layer()
        .with_ansi(show::colour_on(&std::io::stderr()))
        .with_writer(std::io::stderr)
        .log_internal_errors(false);
    tracing_subscriber::registry().with(lines.with_filter(filter)).init();
    Ok(())
}
