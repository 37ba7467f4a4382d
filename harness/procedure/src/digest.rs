//! SHA-256 digests as they stand in the log.
use alloc::string::String;
use plumeline_detector::settings::Settings;
use sha2::{Digest, Sha256};

/// SHA-256 of these bytes, as hexadecimal digits.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    base16ct::lower::encode_string(&Sha256::digest(bytes))
}

/// SHA-256 over the items in their canonical form, the maker's own bytes included.
pub(crate) fn settings_digest(settings: &Settings) -> String {
    sha256_hex(settings.canonical().as_bytes())
}
