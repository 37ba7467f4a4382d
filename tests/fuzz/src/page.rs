//! Messages from pages, and times of their clocks: whatever comes is read or refused, and what is read keeps to the stated limits.
use message::{FromClient, LONGEST, NAME, WORDS, plain};
use plumeline_base::Instant;
use std::time::Duration;
use tie::Clocks;

// The files themselves: the whole crate would bring a server with it.
#[path = "../../../harness/page/src/message.rs"]
#[allow(dead_code)]
mod message;
#[path = "../../../harness/page/src/tie.rs"]
#[allow(dead_code)]
mod tie;

/// Lines of messages; a line that is a pong also goes to a clock.
pub fn page(data: &[u8]) {
    let (mut clocks, mut now) = (Clocks::new(1.0), Instant::START);
    for line in String::from_utf8_lossy(data).lines() {
        now = now + Duration::from_millis(40);
        let ping = clocks.ping(now);
        let read = match FromClient::parse(line) {
            Ok(read) => read,
            Err(why) => {
                assert!(!why.is_empty());
                continue;
            }
        };
        assert!(line.len() <= LONGEST);
        now = now + Duration::from_millis(40);
        match read {
            FromClient::Hello { name, .. } => is_plain(&plain(&name, NAME), NAME),
            FromClient::Pong { got_us, sent_us, .. } => {
                let _ = clocks.pong("b", ping, got_us, sent_us, now);
                if let Some(tied) = clocks.tied("b", sent_us) {
                    assert!(tied.u_s.is_finite() && tied.u_s > 0.0);
                }
            }
            FromClient::Act { words, note, touched_us, boot, .. } => {
                is_plain(&plain(&words, WORDS), WORDS);
                assert!(note.is_none_or(|n| n.chars().count() <= WORDS));
                if let Some(mark) = touched_us.and_then(|us| clocks.mark(&boot, us)) {
                    assert!(mark.u_us > 0);
                }
            }
        }
    }
}

fn is_plain(text: &str, most: usize) {
    assert!(text.chars().count() <= most && !text.chars().any(char::is_control));
}
