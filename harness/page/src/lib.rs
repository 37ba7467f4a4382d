//! A page that a job serves to phones and laptops on the local network: for somebody at the far end of a pipe, for those who
//! watch, and for whoever leads. Everything it needs is in the program.
//!
//! What people do on it becomes answers of the one ordered log (`runtime`); moments are taken by the phone's own clock, tied to
//! the log's (`measure`). Not here: what is asked, and what an answer means.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod address;
pub mod codes;
mod connection;
mod gate;
mod hub;
pub mod message;
mod people;
mod server;
pub mod site;
mod telling;
pub mod tie;
mod tls;
pub mod view;

pub use hub::{Hub, Shown};
pub use server::{Config, KeepPhoto, PHOTO_LIMIT, Serving, serve};
pub use tls::Tls;
