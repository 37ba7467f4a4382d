//! The ordered input log, as pcapng.
