//! Stamps that `openssl ts` made (`scripts/make_stamp_data.sh`): RSA and curves, a chain, an older service, and all that is refused.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the verdict")]

use plumeline_stamp::{ANSWER_LIMIT, Anchors, StampError, read, request};
use sha2::{Digest as _, Sha256};
use std::{fs, path::Path};

fn data(name: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)).unwrap()
}
fn anchors(name: &str) -> Anchors {
    Anchors::from_pem(&data(name)).unwrap()
}
fn stamped() -> [u8; 32] {
    Sha256::digest(data("stamped.txt")).into()
}
fn why(answer: &str, by: &str) -> String {
    anchors(by).vouch_for(&read(&data(answer)).unwrap()).unwrap_err().to_string()
}

#[test]
fn a_request_is_the_one_that_openssl_makes() {
    assert_eq!(request(&stamped()).unwrap(), data("request.tsq"));
}

#[test]
fn stamps_hold_and_lead_to_who_is_trusted() {
    for (answer, by, service) in [
        ("rsa.tsr", "root.pem", "CN=Service,O=Invented Time"),
        ("curves.tsr", "root-ec.pem", "CN=Service of curves,O=Invented Time"),
    ] {
        let stamp = read(&data(answer)).unwrap();
        assert_eq!((stamp.sha256(), stamp.by().as_str()), (&stamped(), service));
        // 2026 to 2100.
        assert!((1_767_225_600..4_102_444_800).contains(&stamp.at().as_secs()), "{answer}: {:?}", stamp.at());
        assert!(stamp.policy().starts_with("1.3.6.1.4.1.32473."));
        anchors(by).vouch_for(&stamp).unwrap();
    }
}

#[test]
fn who_is_not_trusted_vouches_for_nothing() {
    for (answer, by) in [("rsa.tsr", "root-ec.pem"), ("curves.tsr", "root.pem")] {
        assert!(why(answer, by).contains("issued by nobody who is trusted"), "{}", why(answer, by));
    }
    // A root of the same name and another key.
    assert!(
        why("rsa.tsr", "impostor.pem").contains("not shown to be issued by its issuer"),
        "{}",
        why("rsa.tsr", "impostor.pem")
    );
    assert!(
        why("clerk.tsr", "root-ec.pem").contains("Clerk,O=Invented Time may not issue"),
        "{}",
        why("clerk.tsr", "root-ec.pem")
    );
    assert!(why("over.tsr", "root-ec.pem").contains("not valid at the time"), "{}", why("over.tsr", "root-ec.pem"));
    assert!(Anchors::from_pem(b"").is_err() && Anchors::from_pem(&data("rsa.tsr")).is_err());
}

#[test]
fn what_is_no_stamp_is_told() {
    assert_eq!(read(&data("refused.tsr")), Err(StampError::NotGranted(2)));
    for bad in [&b""[..], b"<html>not found</html>", &data("request.tsq"), &vec![0x30; ANSWER_LIMIT + 1]] {
        assert!(matches!(read(bad), Err(StampError::Form(_))), "{:?}", read(bad));
    }
}

/// No changed byte makes another time or digest, or leads from another service to the anchor; nor does it end in a panic.
#[test]
fn no_byte_can_be_changed() {
    for (answer, by) in [("rsa.tsr", "root.pem"), ("curves.tsr", "root-ec.pem")] {
        let (good, anchors) = (data(answer), anchors(by));
        let was = read(&good).unwrap();
        let mut found = 0;
        for at in 0..good.len() {
            for bit in [0x01, 0x80] {
                let mut bad = good.clone();
                bad[at] ^= bit;
                match read(&bad).and_then(|stamp| anchors.vouch_for(&stamp).map(|()| stamp)) {
                    Ok(stamp) => {
                        assert_eq!(
                            (stamp.sha256(), stamp.at(), stamp.by()),
                            (was.sha256(), was.at(), was.by()),
                            "{answer}: byte {at}"
                        );
                    }
                    Err(_) => found += 1,
                }
            }
        }
        for end in 0..good.len() {
            assert!(read(&good[..end]).is_err(), "{answer}: cut at {end}");
        }
        assert!(read(&[&good[..], b"\0"].concat()).is_err(), "{answer}: with a byte behind it");
        // What is not found says nothing: the list of digests, which nobody signs; status 1 for 0; the unsigned wrapping of parameters.
        assert!(found > 2 * good.len() - 40, "{answer}: {found} of {}", 2 * good.len());
    }
}
