//! A stamp itself: signed data (RFC 5652) around what the service states (RFC 3161, 2.4.2).
//!
//! Not here: whether the service is trusted.
use crate::{
    MessageImprint, StampError,
    algorithm::{self, Hash},
    chain,
};
use cms::{
    cert::{CertificateChoices, IssuerAndSerialNumber},
    content_info::ContentInfo,
    signed_data::{SignedAttributes, SignedData, SignerIdentifier, SignerInfo},
};
use core::time::Duration;
use der::{
    Any, DateTime, Decode, Encode, Sequence, Tag, Tagged,
    asn1::{ObjectIdentifier, OctetString, OctetStringRef},
};
use spki::AlgorithmIdentifierOwned;
use x509_cert::{Certificate, ext::pkix::SubjectKeyIdentifier};

const SIGNED_DATA: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.7.2");
const STAMP: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.1.4");
const CONTENT_TYPE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.3");
const MESSAGE_DIGEST: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.4");
const SIGNING_CERTIFICATE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.2.12");
const SIGNING_CERTIFICATE_2: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.2.47");

/// What a service states, whose signature by the certificate that it brings along holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    sha256: [u8; 32],
    at: Duration,
    policy: String,
    service: Certificate,
    brought: Vec<Certificate>,
}

impl Stamp {
    /// The digest that was there.
    pub fn sha256(&self) -> &[u8; 32] {
        &self.sha256
    }
    /// When, since 1970 (UTC).
    pub fn at(&self) -> Duration {
        self.at
    }
    /// The policy that the service says it follows.
    pub fn policy(&self) -> &str {
        &self.policy
    }
    /// Whose certificate it is said to be.
    pub fn by(&self) -> String {
        self.service.tbs_certificate().subject().to_string()
    }
    /// SHA-256 of that certificate.
    ///
    /// # Errors
    /// [`StampError::Form`] if it has no such form.
    pub fn fingerprint(&self) -> Result<Vec<u8>, StampError> {
        chain::sha256(&self.service)
    }
    pub(crate) fn service(&self) -> &Certificate {
        &self.service
    }
    pub(crate) fn brought(&self) -> &[Certificate] {
        &self.brought
    }
}

/// The beginning of what a service states; the rest (accuracy, ordering, nonce, name) says nothing that is relied on.
struct Stated {
    policy: ObjectIdentifier,
    imprint: MessageImprint,
    at: Duration,
}
impl Stated {
    fn read(bytes: &[u8]) -> Result<Self, StampError> {
        // Each field by itself: times may have fractions here (RFC 3161), which a certificate's may not.
        let fields = Vec::<Any>::from_der(bytes)?;
        let [version, policy, imprint, _serial, at, ..] = &fields[..] else {
            return Err(StampError::Form("what it states is too short".to_owned()));
        };
        if version.decode_as::<u8>()? != 1 || at.tag() != Tag::GeneralizedTime {
            return Err(StampError::Unknown("another version of stamps".to_owned()));
        }
        Ok(Self { policy: policy.decode_as()?, imprint: imprint.decode_as()?, at: time(at.value())? })
    }
}

/// `YYYYMMDDhhmmss[.f…]Z`, down to the second.
fn time(text: &[u8]) -> Result<Duration, StampError> {
    let bad = || StampError::Form("its time is none".to_owned());
    let text = str::from_utf8(text).ok().and_then(|t| t.strip_suffix('Z')).ok_or_else(bad)?;
    let (whole, fraction) = text.split_once('.').map_or((text, None), |(w, f)| (w, Some(f)));
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    if whole.len() != 14 || !digits(whole) || !fraction.is_none_or(digits) {
        return Err(bad());
    }
    let number = |from: usize, to: usize| whole[from..to].parse::<u16>().map_err(|_| bad());
    // Two digits.
    let small = |from: usize| number(from, from + 2).and_then(|n| u8::try_from(n).map_err(|_| bad()));
    let date = DateTime::new(number(0, 4)?, small(4)?, small(6)?, small(8)?, small(10)?, small(12)?);
    Ok(date.map_err(|_| bad())?.unix_duration())
}

#[derive(Sequence)]
struct EssCertIdV2 {
    #[asn1(optional = "true")]
    hash_algorithm: Option<AlgorithmIdentifierOwned>,
    cert_hash: OctetString,
    #[asn1(optional = "true")]
    issuer_serial: Option<Any>,
}
#[derive(Sequence)]
struct SigningCertificateV2 {
    certs: Vec<EssCertIdV2>,
    #[asn1(optional = "true")]
    policies: Option<Any>,
}

pub(crate) fn read(token: &ContentInfo) -> Result<Stamp, StampError> {
    if token.content_type != SIGNED_DATA {
        return Err(StampError::Unknown(format!("content of type {}", token.content_type)));
    }
    let signed: SignedData = token.content.decode_as()?;
    if signed.encap_content_info.econtent_type != STAMP {
        return Err(StampError::Unknown(format!("signed content of type {}", signed.encap_content_info.econtent_type)));
    }
    let content = signed.encap_content_info.econtent.as_ref();
    let content = content.ok_or(StampError::DoesNotHold("it states nothing"))?.decode_as::<&OctetStringRef>()?;
    let [signer] = signed.signer_infos.0.as_slice() else {
        return Err(StampError::DoesNotHold("a stamp is signed by one service; it is not"));
    };
    let brought: Vec<Certificate> = signed
        .certificates
        .iter()
        .flat_map(|all| all.0.iter())
        .filter_map(|choice| match choice {
            CertificateChoices::Certificate(certificate) => Some(certificate.clone()),
            CertificateChoices::Other(_) => None,
        })
        .collect();
    if brought.len() > chain::MOST {
        return Err(StampError::Unknown(format!("an answer with {} certificates", brought.len())));
    }
    let service = brought.iter().find(|c| is_of(signer, c));
    let service =
        service.ok_or(StampError::DoesNotHold("it does not bring along the certificate of whoever signed"))?;
    signature_holds(signer, service, content.as_bytes())?;
    if !chain::is_for_stamps(service)? {
        return Err(StampError::DoesNotHold("whoever signed has no certificate for time stamps"));
    }
    let stated = Stated::read(content.as_bytes())?;
    let sha256 = stated.imprint.hashed_message.as_bytes().try_into().ok();
    match (Hash::of(&stated.imprint.hash_algorithm)? == Hash::Sha256, sha256) {
        (true, Some(sha256)) => {
            Ok(Stamp { sha256, at: stated.at, policy: stated.policy.to_string(), service: service.clone(), brought })
        }
        _ => Err(StampError::Unknown("a stamp over another digest than SHA-256".to_owned())),
    }
}

/// Whether this certificate is the one that a signer names.
fn is_of(signer: &SignerInfo, certificate: &Certificate) -> bool {
    let body = certificate.tbs_certificate();
    match &signer.sid {
        SignerIdentifier::IssuerAndSerialNumber(IssuerAndSerialNumber { issuer, serial_number }) => {
            issuer == body.issuer() && serial_number == body.serial_number()
        }
        SignerIdentifier::SubjectKeyIdentifier(id) => {
            body.get_extension::<SubjectKeyIdentifier>().ok().flatten().is_some_and(|(_, own)| own == *id)
        }
    }
}

/// The signature covers attributes, which bind the content, what it is, and the certificate.
fn signature_holds(signer: &SignerInfo, service: &Certificate, content: &[u8]) -> Result<(), StampError> {
    let hash = Hash::of(&signer.digest_alg)?;
    let attributes = signer.signed_attrs.as_ref();
    let attributes = attributes.ok_or(StampError::DoesNotHold("its signature does not say what it covers"))?;
    let one =
        |oid| attribute(attributes, oid).ok_or(StampError::DoesNotHold("its signature does not cover all it must"));
    if one(CONTENT_TYPE)?.decode_as::<ObjectIdentifier>()? != STAMP
        || one(MESSAGE_DIGEST)?.decode_as::<OctetString>()?.as_bytes() != hash.digest(content)
    {
        return Err(StampError::DoesNotHold("what it states is not what was signed"));
    }
    if !names(attributes, service)? {
        return Err(StampError::DoesNotHold("it was signed under another certificate"));
    }
    let key = service.tbs_certificate().subject_public_key_info();
    algorithm::verify(key, &signer.signature_algorithm, Some(hash), &attributes.to_der()?, signer.signature.as_bytes())
}

fn attribute(attributes: &SignedAttributes, oid: ObjectIdentifier) -> Option<&Any> {
    let mut all = attributes.iter().filter(|a| a.oid == oid);
    match (all.next(), all.next()) {
        (Some(one), None) if one.values.len() == 1 => one.values.get(0),
        _ => None,
    }
}

/// Whether the attribute for it names this certificate (RFC 5035; older services by SHA-1, RFC 2634).
fn names(attributes: &SignedAttributes, service: &Certificate) -> Result<bool, StampError> {
    let der = service.to_der()?;
    if let Some(value) = attribute(attributes, SIGNING_CERTIFICATE_2) {
        let named = value.decode_as::<SigningCertificateV2>()?;
        let Some(first) = named.certs.first() else { return Ok(false) };
        let hash = first.hash_algorithm.as_ref().map_or(Ok(Hash::Sha256), Hash::of)?;
        return Ok(first.cert_hash.as_bytes() == hash.digest(&der));
    }
    let Some(value) = attribute(attributes, SIGNING_CERTIFICATE) else { return Ok(false) };
    let named = value.decode_as::<SigningCertificateV2>()?;
    let sha1 = <sha1::Sha1 as sha2::Digest>::digest(&der);
    Ok(named.certs.first().is_some_and(|c| c.hash_algorithm.is_none() && c.cert_hash.as_bytes() == sha1.as_slice()))
}
