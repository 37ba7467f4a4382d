//! A person who reads a display, as a driver.
