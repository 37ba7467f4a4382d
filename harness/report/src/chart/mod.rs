//! Charts as plain SVG for a page that prints: black, greys and line styles only, every axis with its unit, a title
//! and a description for those who don't see it. Not here: what is charted and why (see the page's parts).
mod decimate;
mod fit;
pub mod interval;
pub mod panels;
mod ticks;
pub mod years;

pub use decimate::{Stretches, decimate};
pub use ticks::{Ticks, ticks};
