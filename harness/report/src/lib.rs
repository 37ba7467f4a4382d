//! Reports of a finished job: HTML, JUnit XML, JSON.
