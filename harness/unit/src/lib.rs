//! What a unit is by its description: what each of its settings means, what its outputs are, and what the settings that
//! it holds say, asked by meaning and never by key.
//!
//! Pure: no files, no clock. Not here: how descriptions are written (the job crate), how settings are carried over to
//! another model (the carry crate), and what the unit can be asked over a line (the detector crate).
#![no_std]
extern crate alloc;

pub mod description;
pub mod meaning;
pub mod neutral;
pub mod number;
pub mod view;

pub use description::Description;
pub use meaning::Meaning;
pub use neutral::{Seen, Sense};
pub use view::{Known, UnitView, Unknown};
