//! A simulated detector and site: state machine without I/O and physics of its own.
