//! Time stamps of RFC 3161: the request for one, the answer to it, and whether whoever answered is trusted.
//!
//! A stamp shows that a digest was there at a time, by the word of a service that did not see what it is the digest of. Offline and
//! without a clock: a service's certificate is judged at the time that it states. Whether a key was revoked since is not looked up.
//!
//! Not here: how request and answer travel, and what is stamped.
mod algorithm;
mod chain;
mod token;

use der::{
    Any, Decode, Encode, Sequence,
    asn1::{Null, ObjectIdentifier, OctetString},
};
use spki::AlgorithmIdentifierOwned;

pub use chain::Anchors;
pub use token::Stamp;

/// Longest answer that is read, bytes.
pub const ANSWER_LIMIT: usize = 64 * 1024;
/// SHA-256, in which everything that is stamped here is given.
const SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.1");

/// Why an answer is no stamp, or is not to be relied on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StampError {
    /// It does not have the form.
    #[error("it does not have the form of an answer of RFC 3161: {0}")]
    Form(String),
    /// The service gave no stamp.
    #[error("the service gave no stamp (status {0})")]
    NotGranted(u8),
    /// It is in a form that is not read here.
    #[error("{0} is not read here")]
    Unknown(String),
    /// It was altered, or made by somebody else.
    #[error("{0}")]
    DoesNotHold(&'static str),
    /// No way leads from the service's certificate to one that is trusted.
    #[error("{0}")]
    NotTrusted(String),
}
impl From<der::Error> for StampError {
    fn from(e: der::Error) -> Self {
        Self::Form(e.to_string())
    }
}

/// What is stamped: a digest and what it was made with.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
struct MessageImprint {
    hash_algorithm: AlgorithmIdentifierOwned,
    hashed_message: OctetString,
}

#[derive(Sequence)]
struct TimeStampReq {
    version: u8,
    message_imprint: MessageImprint,
    cert_req: bool,
}

#[derive(Sequence)]
struct PkiStatusInfo {
    status: u8,
    #[asn1(optional = "true")]
    status_string: Option<Vec<Any>>,
    #[asn1(optional = "true")]
    fail_info: Option<Any>,
}

#[derive(Sequence)]
struct TimeStampResp {
    status: PkiStatusInfo,
    #[asn1(optional = "true")]
    token: Option<cms::content_info::ContentInfo>,
}

/// The request for a stamp over this SHA-256, which asks for the service's certificate too. It has no nonce: an answer is held against
/// what was stamped, and an old answer to the same could only show that it was there earlier.
///
/// # Errors
/// [`StampError::Form`] if it has no such form.
pub fn request(sha256: &[u8; 32]) -> Result<Vec<u8>, StampError> {
    let hash_algorithm = AlgorithmIdentifierOwned { oid: SHA_256, parameters: Some(Null.into()) };
    let message_imprint = MessageImprint { hash_algorithm, hashed_message: OctetString::new(*sha256)? };
    Ok(TimeStampReq { version: 1, message_imprint, cert_req: true }.to_der()?)
}

/// Reads an answer: its form, and its signature by the certificate that it brings along. Whose that is, [`Anchors::vouch_for`] tells.
///
/// # Errors
/// Every kind of [`StampError`] but [`StampError::NotTrusted`].
pub fn read(answer: &[u8]) -> Result<Stamp, StampError> {
    if answer.len() > ANSWER_LIMIT {
        return Err(StampError::Form(format!("it is longer than {ANSWER_LIMIT} bytes")));
    }
    let answer = TimeStampResp::from_der(answer)?;
    // 0 granted, 1 granted with changes.
    match (answer.status.status, answer.token) {
        (0 | 1, Some(token)) => token::read(&token),
        (status, _) => Err(StampError::NotGranted(status)),
    }
}
