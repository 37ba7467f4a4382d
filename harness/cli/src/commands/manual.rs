//! `plumeline completions` and `plumeline man`: both made from the arguments themselves, so that they can't go stale.
use crate::args::{Cli, Completions, Man};
use clap::{Command, CommandFactory};
use plumeline_job::Problem;
use plumeline_runtime::{
    failure::{Exit, Failure},
    show::print_progress,
};
use std::io::{self, Write};

/// `plumeline completions`
pub fn completions(args: &Completions) -> Result<Exit, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "plumeline", &mut script);
    to_stdout(&script)
}

/// `plumeline man`
pub fn man(args: &Man) -> Result<Exit, Failure> {
    // Help is an option on every page already.
    let mut command = Cli::command().disable_help_subcommand(true);
    command.build();
    let Some(dir) = &args.dir else { return to_stdout(&page(&command)?) };
    let told = |e: io::Error| Problem::from_io(dir, "write the manual", &e);
    std::fs::create_dir_all(dir).map_err(told)?;
    pages(&command, &mut |name, text| std::fs::write(dir.join(name), text)).map_err(told)?;
    print_progress(&format!("the manual is in {}", dir.display()));
    Ok(Exit::Pass)
}

fn pages(command: &Command, put: &mut dyn FnMut(String, Vec<u8>) -> io::Result<()>) -> io::Result<()> {
    for below in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        pages(below, put)?;
    }
    put(clap_mangen::Man::new(command.clone()).get_filename(), page(command)?)
}

/// A page. What stands behind the options goes by the name that readers of manuals know (man-pages(7)).
fn page(command: &Command) -> io::Result<Vec<u8>> {
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut page)?;
    Ok(String::from_utf8_lossy(&page).replace(".SH EXTRA", ".SH NOTES").into_bytes())
}

/// A reader that has seen enough closes the pipe, which is no failure.
fn to_stdout(bytes: &[u8]) -> Result<Exit, Failure> {
    match io::stdout().write_all(bytes) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(e.into()),
        _ => Ok(Exit::Pass),
    }
}
