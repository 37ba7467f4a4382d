//! Runs jobs: the session over log and journal, the loops that drive it, who answers, who watches, how it goes on and is replayed.
//!
//! The command line, replays, batches, campaigns and tests drive jobs through this crate. Not here: arguments (cli), what a job
//! is (procedure), frames (detector), files (job, trace), pages (report).
pub mod anew;
pub mod clock;
mod each_alone;
pub mod failure;
pub mod finish;
pub mod interrupt;
pub mod job;
pub mod job_files;
pub mod keep;
pub mod line;
pub mod operator;
pub mod places;
pub mod plan_check;
pub mod port;
pub mod rejudge;
pub mod replay;
pub mod resume;
pub mod runs;
pub mod scenario;
pub mod session;
pub mod show;
pub mod simulated_model;
pub mod unit_end;
pub mod warnings;
