//! What shows a job that goes on in real time: a live view where a terminal can hold one, lines elsewhere.
use crate::args::Output;
use plumeline_procedure::JobInputs;
use plumeline_runtime::show::{self, Show};
use plumeline_screen::{Live, stands_here};

/// `asks`: somebody at this terminal answers. What the program tells of itself (`-v`) would be written across a live view.
pub(crate) fn of_job(output: Output, asks: bool, inputs: &JobInputs) -> Box<dyn Show> {
    let lines = output.json || output.plain || show::is_quiet() || tracing::enabled!(tracing::Level::INFO);
    match !lines && stands_here() {
        true => Box::new(Live::open(inputs, asks)),
        false => show::of_job(output.json, asks),
    }
}
