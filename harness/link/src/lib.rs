//! Links: serial, USB, TCP, recorder, fault injector. Bytes and time only.
