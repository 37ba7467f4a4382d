//! Codes of the record in a unit's own event log: what stands there is out of the folder's reach. The words of such a note, and how
//! they are read again.
//!
//! Not here: the code itself (the job crate) and when a note is left (`stages::anchor`).
use alloc::{format, string::String};
use serde::{Deserialize, Serialize};

const ISOLATED: &str = "record, isolated ";
const CLOSED: &str = ", closed ";

/// What a note says of a record.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Note {
    /// Serial number of the unit in whose log it is.
    pub serial: String,
    /// Code of the record as far as it went when the zone went out of service: it tells one attempt from another.
    pub isolated: String,
    /// Code of everything but the closing lines, in a note that was left at the end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
}
impl Note {
    /// As it stands in the log.
    pub fn words(&self) -> String {
        match &self.closed {
            None => format!("{ISOLATED}{}", self.isolated),
            Some(closed) => format!("{ISOLATED}{}{CLOSED}{closed}", self.isolated),
        }
    }
    /// Reads a line of this unit's log; `None` where it is no such note.
    pub fn read(serial: &str, text: &str) -> Option<Self> {
        let codes = text.strip_prefix(ISOLATED)?;
        let (isolated, closed) = codes.split_once(CLOSED).map_or((codes, None), |(a, b)| (a, Some(b.into())));
        Some(Self { serial: serial.into(), isolated: isolated.into(), closed })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_reads_back_and_fits_a_message() {
        let code = || String::from("7K3Q-7K3Q-7K3Q-7K3Q-00");
        for closed in [None, Some(code())] {
            let note = Note { serial: "s1".into(), isolated: code(), closed };
            assert_eq!(Note::read("s1", &note.words()).as_ref(), Some(&note));
            assert!(note.words().len() <= 96);
        }
        assert_eq!(Note::read("s1", "filter renewed"), None);
    }
}
