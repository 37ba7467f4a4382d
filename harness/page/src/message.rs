//! What comes over the socket, checked for its size and shape before anything looks at it.
//!
//! Not here: what a page is told (`telling`).
use serde::Deserialize;

/// Longest message from a page, bytes. Photos go another way.
pub const LONGEST: usize = 8 * 1024;
/// Longest name, in characters.
pub const NAME: usize = 60;
/// Longest answer or remark, in characters.
pub const WORDS: usize = 1000;
/// Longest name of an answer, of a page or of its start.
const ID: usize = 64;

/// What a page says.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(tag = "m", rename_all = "kebab-case", deny_unknown_fields)]
pub enum FromClient {
    /// Who it is. The first message of every connection.
    Hello {
        /// From the link.
        code: String,
        /// Who sits at it.
        name: String,
        /// The page's own secret name, the same over reloads.
        client: String,
        /// This start of the page, whose clock begins anew with it.
        boot: String,
    },
    /// The answer to a ping: when it came and when this left, us of the page's clock.
    Pong {
        /// The ping.
        n: u32,
        /// When it came.
        got_us: u64,
        /// When this left.
        sent_us: u64,
    },
    /// An answer.
    Act {
        /// Its name, made by the page: sent twice, it is taken once.
        id: String,
        /// The question.
        prompt: u32,
        /// As it would be typed.
        words: String,
        /// When it was touched, us of the page's clock.
        #[serde(default)]
        touched_us: Option<u64>,
        /// By which start of the page.
        boot: String,
        /// A remark.
        #[serde(default)]
        note: Option<String>,
        /// The digest of a photo that was sent before.
        #[serde(default)]
        photo: Option<String>,
    },
}

impl FromClient {
    /// Reads a message.
    ///
    /// # Errors
    /// Why it is none.
    pub fn parse(text: &str) -> Result<Self, String> {
        if text.len() > LONGEST {
            return Err(format!("a message is {LONGEST} bytes at most"));
        }
        let message: Self = serde_json::from_str(text).map_err(|e| e.to_string())?;
        let id = |what: &str, s: &str| -> Result<(), String> {
            let fits = (1..=ID).contains(&s.len()) && s.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
            if fits { Ok(()) } else { Err(format!("{what}: 1 to {ID} letters, digits and hyphens")) }
        };
        match &message {
            Self::Hello { code, name, client, boot } => {
                id("code", code)?;
                id("client", client)?;
                id("boot", boot)?;
                if plain(name, NAME).is_empty() {
                    return Err("a name is needed".into());
                }
            }
            Self::Pong { .. } => {}
            Self::Act { id: name, boot, words, note, photo, .. } => {
                id("id", name)?;
                id("boot", boot)?;
                photo.as_deref().map_or(Ok(()), |photo| id("photo", photo))?;
                if [Some(words), note.as_ref()].into_iter().flatten().any(|s| s.chars().count() > WORDS) {
                    return Err(format!("words are {WORDS} characters at most"));
                }
            }
        }
        Ok(message)
    }
}

/// One line of plain characters, cut where it is too long: nothing that steers a terminal, nothing that turns writing round.
pub fn plain(text: &str, most: usize) -> String {
    let steers = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    let text: String = text.chars().map(|c| if steers(c) { ' ' } else { c }).take(most).collect();
    text.trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fits_is_read() {
        let act = r#"{"m":"act","id":"a-1","prompt":3,"words":"","touched_us":5,"boot":"b"}"#;
        let read = FromClient::parse(act).unwrap();
        assert!(matches!(read, FromClient::Act { prompt: 3, touched_us: Some(5), note: None, .. }));
        assert!(FromClient::parse(r#"{"m":"pong","n":1,"got_us":2,"sent_us":3}"#).is_ok());
        assert!(FromClient::parse(r#"{"m":"hello","code":"c","name":"A. Example","client":"x","boot":"y"}"#).is_ok());
    }
    #[test]
    fn what_does_not_fit_is_refused_with_a_reason() {
        let long = format!(r#"{{"m":"act","id":"a","prompt":3,"words":"{}","boot":"b"}}"#, "w".repeat(WORDS + 1));
        let huge = format!(r#"{{"m":"pong","n":1,"x":"{}"}}"#, "w".repeat(LONGEST));
        for bad in [
            "",
            "{}",
            "[]",
            "null",
            r#"{"m":"act"}"#,
            r#"{"m":"pong","n":-1,"got_us":2,"sent_us":3}"#,
            r#"{"m":"pong","n":1,"got_us":2.5,"sent_us":3}"#,
            r#"{"m":"pong","n":1,"got_us":2,"sent_us":3,"role":"lead"}"#,
            r#"{"m":"hello","code":"../x","name":"A","client":"x","boot":"y"}"#,
            r#"{"m":"hello","code":"c","name":" \u0007 ","client":"x","boot":"y"}"#,
            r#"{"m":"act","id":"","prompt":3,"words":"","boot":"b"}"#,
            r#"{"m":"act","id":"a","prompt":3,"words":"","boot":"b","photo":"photos/x"}"#,
            &long,
            &huge,
        ] {
            assert!(FromClient::parse(bad).is_err_and(|why| !why.is_empty()), "{bad}");
        }
    }
    #[test]
    fn names_steer_nothing() {
        assert_eq!(plain(" A.\u{1b}[31m\n\u{202e}B \u{200b}", 60), "A. [31m  B");
        assert_eq!(plain(&"n".repeat(100), NAME).len(), NAME);
    }
}
