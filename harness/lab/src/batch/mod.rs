//! Several jobs in one call, each held against what it is expected to come to.
//!
//! Each job is `plumeline run` in a process of its own over a folder of its own, so that whatever ends one of them takes no
//! other with it. Not here: what a job is. See docs/batch.md.
pub mod file;
pub mod result;
pub mod work;
