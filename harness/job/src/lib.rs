//! The files of a job that a person writes and keeps: pipework, plan, settings, journal, record; and the folder
//! that holds them, locked to one process and written so that a crash at any instant loses nothing accepted.
//!
//! Not here: what the files mean (airflow, procedure), the ordered input log (the trace crate), links, clocks.
pub mod account;
mod any;
pub mod archive;
pub mod begin;
pub mod check;
pub mod code;
pub mod csv;
pub mod decisions;
pub mod description;
pub mod digest;
pub mod disk;
pub mod error;
pub mod folder;
pub mod history;
pub mod input_file;
pub mod journal;
pub mod kept;
pub mod key;
pub mod logger;
pub mod loggers;
pub mod photos;
pub mod pipework;
pub mod plan;
mod private_file;
pub mod remarks;
#[cfg(feature = "schema")]
pub mod schema;
pub mod seal;
pub mod settings;
pub mod sheet;
pub mod stamp_file;
pub mod tables;
pub mod units;
pub mod visit;
pub mod written;

pub use error::{Kind, Problem};

/// Longest file that a person writes and that is read, bytes.
pub const TEXT_LIMIT: usize = 8 * 1024 * 1024;
