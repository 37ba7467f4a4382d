//! What a page is told, but for the view (`view`).
use plumeline_runtime::operator::Told;
use serde::Serialize;

/// What a page is told.
#[derive(Serialize)]
#[serde(tag = "m", rename_all = "kebab-case")]
pub(crate) enum ToClient<'a> {
    /// It may not come in, or not any more.
    Refused { why: &'a str },
    /// It is in, as this.
    Welcome { role: &'a str, name: &'a str, page: u32, recorded: bool },
    /// Tell your clock.
    Ping { n: u32 },
    /// How well its clock is tied: standard uncertainty of a moment now, ms.
    Tied { u_ms: f64, drift_ppm: f64 },
    /// What became of an answer.
    Told { id: &'a str, taken: bool, words: &'a str },
}
impl ToClient<'_> {
    pub(crate) fn text(&self) -> String {
        // Strings and finite numbers into memory: this can't fail.
        serde_json::to_string(self).unwrap_or_default()
    }
    pub(crate) fn told(id: &str, told: &Told) -> String {
        ToClient::Told { id, taken: told.taken, words: &told.words }.text()
    }
}
