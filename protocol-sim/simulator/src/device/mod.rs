//! The unit's firmware, as a pure machine.
pub mod settings;
pub(crate) mod store;
