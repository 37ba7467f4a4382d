//! One module for each group of commands. Each ends with an exit code or a failure.
pub mod batch;
pub mod campaign;
pub mod carry;
pub mod check;
pub mod close;
pub mod demo;
pub mod files;
pub mod invented;
pub mod judge;
pub mod key;
pub mod lies;
pub mod manual;
pub mod ports;
pub mod predict;
pub mod run;
pub mod settings;
pub mod simulate;
