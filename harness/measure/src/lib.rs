//! Measurement: settling, means with uncertainty, smoke onset, decision rules.
