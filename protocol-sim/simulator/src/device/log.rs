//! The unit's event log: the latest entries, each with its position.
use plumewire::{EventCode, LogEntry, LogPage, MAX_LOG_ENTRIES, clip};
use std::collections::VecDeque;

/// Entries that the unit holds.
const HELD: usize = 256;

#[derive(Clone, Debug)]
struct Entry {
    boot_id: u64,
    at_us: u64,
    code: EventCode,
    text: String,
}
/// The log.
#[derive(Clone, Debug, Default)]
pub(crate) struct Log {
    entries: VecDeque<Entry>,
    /// Position of the oldest entry held.
    oldest: u64,
    /// Entries not yet reported while readings are streamed.
    unreported: usize,
}
impl Log {
    /// Adds an entry.
    pub(crate) fn add(&mut self, boot_id: u64, at_us: u64, code: EventCode, text: String) {
        if self.entries.len() == HELD {
            self.entries.pop_front();
            self.oldest += 1;
        }
        self.entries.push_back(Entry { boot_id, at_us, code, text });
        self.unreported = (self.unreported + 1).min(HELD);
    }
    fn entry(&self, index: usize) -> Option<LogEntry<'_>> {
        let e = self.entries.get(index)?;
        Some(LogEntry {
            position: self.oldest + index as u64,
            boot_id: e.boot_id,
            at_us: e.at_us,
            code: e.code as u16,
            text: clip(&e.text),
        })
    }
    /// A page from position `from` on.
    pub(crate) fn page(&self, from: u64) -> LogPage<'_> {
        let first = from.clamp(self.oldest, self.oldest + self.entries.len() as u64);
        let mut page = LogPage { oldest: self.oldest, next: first, entries: plumewire::List::new() };
        while page.entries.len() < MAX_LOG_ENTRIES {
            let Some(entry) = self.entry((page.next - self.oldest) as usize) else { break };
            if !page.entries.push(entry) {
                break;
            }
            page.next += 1;
        }
        page
    }
    /// Position of the newest entry.
    pub(crate) fn newest(&self) -> u64 {
        self.oldest + (self.entries.len() as u64).saturating_sub(1)
    }
    /// The next entry that was not yet reported.
    pub(crate) fn report(&mut self) -> Option<LogEntry<'_>> {
        let index = self.entries.len().checked_sub(self.unreported)?;
        self.unreported = self.unreported.saturating_sub(1);
        self.entry(index)
    }
    /// Takes everything so far as reported.
    pub(crate) const fn skip(&mut self) {
        self.unreported = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn pages_follow_one_another_and_the_oldest_go() {
        let mut log = Log::default();
        for i in 0..300 {
            log.add(1, i, EventCode::Started, format!("entry {i}"));
        }
        let (mut from, mut seen) = (0, Vec::new());
        loop {
            let page = log.page(from);
            seen.extend(page.entries.iter().map(|e| e.position));
            if page.entries.is_empty() {
                break;
            }
            from = page.next;
        }
        assert_eq!(seen, (44..300).collect::<Vec<_>>());
        assert_eq!(log.page(9999).next, 300);
        log.skip();
        assert!(log.report().is_none());
        log.add(1, 1, EventCode::Fault, "new".into());
        assert_eq!(log.report().map(|e| e.position), Some(300));
        assert!(log.report().is_none());
    }
}
