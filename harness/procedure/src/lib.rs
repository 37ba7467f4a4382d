//! The job itself: plan, stages, supervisors. Events in, effects out; no I/O and no clock.
