//! SHA-256 digests (FIPS 180-4) and how they are written: 64 lower-case hexadecimal digits.
use base16ct::lower::encode_string;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use sha2::{Digest as _, Sha256};
use std::fmt;

/// A SHA-256 digest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// The digest of the bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
    /// The digest written as 64 hexadecimal digits, if it is one.
    pub fn parse(hex: &str) -> Option<Self> {
        let mut out = [0; 32];
        decode_hex_into(hex, &mut out).then_some(Self(out))
    }
}
impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&encode_string(&self.0))
    }
}
impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&encode_string(&self.0))
    }
}
impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = std::borrow::Cow::<str>::deserialize(d)?;
        Self::parse(&s).ok_or_else(|| D::Error::custom("not a SHA-256 digest of 64 lower-case hexadecimal digits"))
    }
}

/// Reads exactly as many bytes as there is room for.
pub(crate) fn decode_hex_into(hex: &str, out: &mut [u8]) -> bool {
    hex.len() == out.len() * 2 && base16ct::lower::decode(hex, out).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn published_examples() {
        // NIST, Secure Hash Standard example values: one block, two blocks.
        for (text, hex) in [
            ("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            ),
        ] {
            assert_eq!(Digest::of(text.as_bytes()).to_string(), hex);
            assert_eq!(Digest::parse(hex), Some(Digest::of(text.as_bytes())));
        }
        assert_eq!(Digest::parse("BA"), None);
        assert_eq!(Digest::parse(&"G".repeat(64)), None);
    }
}
