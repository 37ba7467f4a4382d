//! The files a person writes and keeps: pipework, plan, settings, journal, record.
