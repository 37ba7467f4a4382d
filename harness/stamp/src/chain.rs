//! Certificates: whether a way leads from a service's to one that the reader trusts (RFC 5280, as far as services need it).
//!
//! Constraints on names and policies are not judged: a certificate that makes one of them critical is not accepted. Nothing is looked
//! up, revocations neither.
use crate::{StampError, algorithm, token::Stamp};
use core::{cell::Cell, time::Duration};
use der::{Encode, asn1::ObjectIdentifier};
use x509_cert::{
    Certificate,
    ext::pkix::{BasicConstraints, ExtendedKeyUsage, KeyUsage},
};

const BASIC_CONSTRAINTS: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.29.19");
const KEY_USAGE: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.29.15");
const EXTENDED_KEY_USAGE: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.29.37");
const TIME_STAMPING: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.3.6.1.5.5.7.3.8");
const ANY_USE: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.5.29.37.0");
/// Certificates between a service and an anchor, at most.
const MOST_BETWEEN: usize = 4;
/// Certificates that an answer may bring, and that may be trusted, at most.
pub(crate) const MOST: usize = 16;
/// Signatures of certificates that are looked at for one stamp, at most: certificates that all vouch for each other make endless ways.
const MOST_LOOKED_AT: u32 = 64;

/// The certificates that a reader trusts: of services, or of whoever vouches for them.
#[derive(Clone, Debug)]
pub struct Anchors(Vec<Certificate>);

impl Anchors {
    /// From a text of PEM blocks.
    ///
    /// # Errors
    /// [`StampError::Form`] if there is no certificate in it, or one that can't be read.
    pub fn from_pem(text: &[u8]) -> Result<Self, StampError> {
        let all = Certificate::load_pem_chain(text)?;
        if all.is_empty() || all.len() > MOST {
            return Err(StampError::Form(format!("it holds {} certificates; 1 to {MOST} may be trusted", all.len())));
        }
        Ok(Self(all))
    }
    /// Whether a stamp's service is one of these, or one that they vouch for, at the time that it states.
    ///
    /// # Errors
    /// [`StampError::NotTrusted`].
    pub fn vouch_for(&self, stamp: &Stamp) -> Result<(), StampError> {
        let service = stamp.service();
        let way = Way { anchors: &self.0, brought: stamp.brought(), at: stamp.at(), looked_at: Cell::new(0) };
        way.usable(service)?;
        way.leads_on(service, 0)
    }
}

struct Way<'a> {
    anchors: &'a [Certificate],
    brought: &'a [Certificate],
    at: Duration,
    looked_at: Cell<u32>,
}

impl Way<'_> {
    /// Valid at that time, and nothing in it that must be understood but is not.
    fn usable(&self, certificate: &Certificate) -> Result<(), StampError> {
        let body = certificate.tbs_certificate();
        let valid = body.validity();
        if self.at < valid.not_before.to_unix_duration() || self.at > valid.not_after.to_unix_duration() {
            return Err(refused(certificate, "is not valid at the time that the stamp states"));
        }
        let known = [BASIC_CONSTRAINTS, KEY_USAGE, EXTENDED_KEY_USAGE];
        let mut all = body.extensions().into_iter().flatten();
        match all.find(|e| e.critical && !known.contains(&e.extn_id)) {
            Some(strange) => {
                Err(refused(certificate, &format!("hangs on {}, which is not judged here", strange.extn_id)))
            }
            None => Ok(()),
        }
    }
    /// From this certificate, with so many already between, to an anchor.
    fn leads_on(&self, from: &Certificate, between: usize) -> Result<(), StampError> {
        if self.anchors.contains(from) {
            return Ok(());
        }
        let issuer = from.tbs_certificate().issuer();
        let mut why = refused(from, "was issued by nobody who is trusted, as far as the stamp shows");
        if between > MOST_BETWEEN || self.looked_at.get() > MOST_LOOKED_AT {
            return Err(why);
        }
        for next in self.anchors.iter().chain(self.brought).filter(|c| *c != from) {
            if next.tbs_certificate().subject() != issuer {
                continue;
            }
            self.looked_at.set(self.looked_at.get() + 1);
            let vouches = self.usable(next).and_then(|()| may_issue(next, between)).and_then(|()| {
                algorithm::signed(next.tbs_certificate().subject_public_key_info(), from)
                    .map_err(|e| refused(from, &format!("is not shown to be issued by its issuer: {e}")))
            });
            match vouches.and_then(|()| self.leads_on(next, between + 1)) {
                Ok(()) => return Ok(()),
                Err(e) => why = e,
            }
        }
        Err(why)
    }
}

/// Whether a certificate may issue others, of which so many stand between it and the service.
fn may_issue(certificate: &Certificate, between: usize) -> Result<(), StampError> {
    let body = certificate.tbs_certificate();
    let constraints = body.get_extension::<BasicConstraints>()?.map(|(_, c)| c);
    let long_enough = |c: &BasicConstraints| c.path_len_constraint.is_none_or(|most| usize::from(most) >= between);
    let use_fits = body.get_extension::<KeyUsage>()?.is_none_or(|(_, u)| u.key_cert_sign());
    let purpose = body.get_extension::<ExtendedKeyUsage>()?;
    let purpose_fits = purpose.is_none_or(|(_, p)| p.0.contains(&TIME_STAMPING) || p.0.contains(&ANY_USE));
    match constraints.is_some_and(|c| c.ca && long_enough(&c)) && use_fits && purpose_fits {
        true => Ok(()),
        false => Err(refused(certificate, "may not issue certificates of services")),
    }
}

/// Whether a certificate is for stamping and for nothing else (RFC 3161, 2.3).
pub(crate) fn is_for_stamps(certificate: &Certificate) -> Result<bool, StampError> {
    let body = certificate.tbs_certificate();
    let purpose = body.get_extension::<ExtendedKeyUsage>()?;
    let use_fits = body.get_extension::<KeyUsage>()?.is_none_or(|(_, u)| u.digital_signature() || u.non_repudiation());
    Ok(use_fits && purpose.is_some_and(|(critical, p)| critical && p.0 == [TIME_STAMPING]))
}

fn refused(certificate: &Certificate, why: &str) -> StampError {
    StampError::NotTrusted(format!("the certificate of {} {why}", certificate.tbs_certificate().subject()))
}

/// SHA-256 over a certificate.
pub(crate) fn sha256(certificate: &Certificate) -> Result<Vec<u8>, StampError> {
    Ok(algorithm::Hash::Sha256.digest(&certificate.to_der()?))
}
