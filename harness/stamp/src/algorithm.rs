//! Digests and signatures as services use them: RSA (PKCS #1 v1.5), ECDSA over P-256 and P-384, Ed25519; SHA-256, -384 and -512.
//!
//! Not here: what is signed.
use crate::{SHA_256, StampError};
use der::{Encode, asn1::ObjectIdentifier};
use sha2::{Digest as _, Sha256, Sha384, Sha512};
use signature::hazmat::PrehashVerifier as _;
use spki::{AlgorithmIdentifierOwned, DecodePublicKey as _, SubjectPublicKeyInfoOwned};
use x509_cert::certificate::CertificateInner;

const SHA_384: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.2");
const SHA_512: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.3");
const RSA: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.1.1");
const RSA_SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.1.11");
const RSA_SHA_384: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.1.12");
const RSA_SHA_512: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.1.13");
const ECDSA_SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.4.3.2");
const ECDSA_SHA_384: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.4.3.3");
const ECDSA_SHA_512: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.10045.4.3.4");
const ED25519: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.101.112");
/// Shortest RSA key that counts, bytes (2048 bits: NIST SP 800-131A).
const RSA_AT_LEAST: usize = 256;

/// A digest that is relied on.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hash {
    Sha256,
    Sha384,
    Sha512,
}
impl Hash {
    pub(crate) fn of(algorithm: &AlgorithmIdentifierOwned) -> Result<Self, StampError> {
        match algorithm.oid {
            SHA_256 => Ok(Self::Sha256),
            SHA_384 => Ok(Self::Sha384),
            SHA_512 => Ok(Self::Sha512),
            other => Err(StampError::Unknown(format!("the digest {other}"))),
        }
    }
    pub(crate) fn digest(self, bytes: &[u8]) -> Vec<u8> {
        match self {
            Self::Sha256 => Sha256::digest(bytes).to_vec(),
            Self::Sha384 => Sha384::digest(bytes).to_vec(),
            Self::Sha512 => Sha512::digest(bytes).to_vec(),
        }
    }
}

/// Did this key sign these bytes? `stated` is the digest that is named apart, where the algorithm names none.
pub(crate) fn verify(
    key: &SubjectPublicKeyInfoOwned,
    algorithm: &AlgorithmIdentifierOwned,
    stated: Option<Hash>,
    bytes: &[u8],
    signature: &[u8],
) -> Result<(), StampError> {
    let key = key.to_der()?;
    let unknown = || StampError::Unknown(format!("the signature {}", algorithm.oid));
    let hash = match algorithm.oid {
        RSA => stated.ok_or_else(unknown)?,
        RSA_SHA_256 | ECDSA_SHA_256 => Hash::Sha256,
        RSA_SHA_384 | ECDSA_SHA_384 => Hash::Sha384,
        RSA_SHA_512 | ECDSA_SHA_512 | ED25519 => Hash::Sha512,
        _ => return Err(unknown()),
    };
    let digest = hash.digest(bytes);
    let holds = match algorithm.oid {
        ED25519 => ed25519(&key, bytes, signature),
        ECDSA_SHA_256 | ECDSA_SHA_384 | ECDSA_SHA_512 => ecdsa(&key, &digest, signature),
        _ => rsa(&key, hash, &digest, signature),
    };
    match holds {
        Some(true) => Ok(()),
        Some(false) => Err(StampError::DoesNotHold("a signature in it does not hold")),
        None => Err(StampError::Unknown("the kind of key that signed".to_owned())),
    }
}

/// Nothing for another kind of key; so are the following.
fn ed25519(key: &[u8], bytes: &[u8], signature: &[u8]) -> Option<bool> {
    let key = ed25519_dalek::VerifyingKey::from_public_key_der(key).ok()?;
    let signature = ed25519_dalek::Signature::from_slice(signature);
    Some(signature.is_ok_and(|signature| key.verify_strict(bytes, &signature).is_ok()))
}

fn ecdsa(key: &[u8], digest: &[u8], signature: &[u8]) -> Option<bool> {
    if let Ok(key) = p256::ecdsa::VerifyingKey::from_public_key_der(key) {
        let signature = p256::ecdsa::Signature::from_der(signature);
        return Some(signature.is_ok_and(|signature| key.verify_prehash(digest, &signature).is_ok()));
    }
    let key = p384::ecdsa::VerifyingKey::from_public_key_der(key).ok()?;
    let signature = p384::ecdsa::Signature::from_der(signature);
    Some(signature.is_ok_and(|signature| key.verify_prehash(digest, &signature).is_ok()))
}

fn rsa(key: &[u8], hash: Hash, digest: &[u8], signature: &[u8]) -> Option<bool> {
    let key = rsa::PublicKey::from_public_key_der(key).ok()?;
    if rsa::traits::PublicKeyParts::size(&key) < RSA_AT_LEAST {
        return None;
    }
    Some(match hash {
        Hash::Sha256 => key.pkcs1v15_verify_prehash::<Sha256>(digest, signature).is_ok(),
        Hash::Sha384 => key.pkcs1v15_verify_prehash::<Sha384>(digest, signature).is_ok(),
        Hash::Sha512 => key.pkcs1v15_verify_prehash::<Sha512>(digest, signature).is_ok(),
    })
}

/// Did this key sign that certificate?
pub(crate) fn signed(key: &SubjectPublicKeyInfoOwned, certificate: &CertificateInner) -> Result<(), StampError> {
    let body = certificate.tbs_certificate();
    if body.signature() != certificate.signature_algorithm() {
        return Err(StampError::DoesNotHold("a certificate in it names two ways of signing"));
    }
    let signature = certificate.signature().as_bytes();
    let signature = signature.ok_or(StampError::DoesNotHold("a signature in it does not end at a byte"))?;
    verify(key, certificate.signature_algorithm(), None, &body.to_der()?, signature)
}
