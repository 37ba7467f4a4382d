//! What a seal rests on, held against published values: Ed25519, SHA-256 and canonical JSON.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
use plumeline_job::{digest::Digest, key::PublicKey, key::Signature};
use serde_json::{Value, json};

/// The lines of a data file that hold values, as words.
fn values(text: &'static str) -> Vec<Vec<&'static str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines.map(|line| line.split_whitespace().collect()).collect()
}
fn hex(digits: &str) -> Vec<u8> {
    let digits = digits.trim_start_matches('-');
    (0..digits.len()).step_by(2).map(|i| u8::from_str_radix(&digits[i..i + 2], 16).unwrap()).collect()
}

#[test]
fn ed25519_as_rfc_8032_has_it() {
    let all = values(include_str!("data/ed25519-rfc8032.txt"));
    assert_eq!(all.len(), 4);
    for v in all {
        let (seed, public, message, signature) = (hex(v[0]), hex(v[1]), hex(v[2]), hex(v[3]));
        let key = ed25519_dalek::SigningKey::from_bytes(&seed.try_into().unwrap());
        assert_eq!(key.verifying_key().to_bytes().to_vec(), public);
        assert_eq!(ed25519_dalek::Signer::sign(&key, &message).to_bytes().to_vec(), signature);
        let public = PublicKey::from_bytes(&public.try_into().unwrap()).unwrap();
        let signature: [u8; 64] = signature.try_into().unwrap();
        assert!(public.verifies(&message, &Signature(signature)));
        for at in 0..64 {
            let mut wrong = signature;
            wrong[at] ^= 1;
            assert!(!public.verifies(&message, &Signature(wrong)), "byte {at}");
        }
        assert!(!public.verifies(&[&message[..], b"x"].concat(), &Signature(signature)));
    }
    // A key under which anything verifies (the neutral point of the curve) is none.
    let mut neutral = [0; 32];
    neutral[0] = 1;
    assert_eq!(PublicKey::from_bytes(&neutral), None);
}

#[test]
fn a_signature_has_one_form() {
    // RFC 8032, 5.1.7: S must be less than the order L of the base point. S + L signs the same to a reader that does not look.
    let order = hex("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010");
    let v = values(include_str!("data/ed25519-rfc8032.txt")).swap_remove(1);
    let mut signature = hex(v[3]);
    let mut carry = 0;
    for (s, l) in signature[32..].iter_mut().zip(&order) {
        let sum = u16::from(*s) + u16::from(*l) + carry;
        (*s, carry) = ((sum & 255) as u8, sum >> 8);
    }
    assert_eq!(carry, 0);
    let public = PublicKey::from_bytes(&hex(v[1]).try_into().unwrap()).unwrap();
    assert!(!public.verifies(&hex(v[2]), &Signature(signature.try_into().unwrap())));
}

#[test]
fn sha_256_as_nist_has_it() {
    let all = values(include_str!("data/sha256-nist.txt"));
    assert_eq!(all.len(), 5);
    for v in all {
        assert_eq!(Digest::of(&hex(v[0])).to_string(), v[1]);
    }
    // FIPS 180-2, B.3: a million times the letter a.
    let million = Digest::of(&vec![b'a'; 1_000_000]).to_string();
    assert_eq!(million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

fn canonical(value: &Value) -> String {
    serde_json_canonicalizer::to_string(value).unwrap()
}

#[test]
fn canonical_json_as_rfc_8785_has_it() {
    // 3.2.2 and 3.2.3 (from memory).
    let primitive: Value = serde_json::from_str(
        r#"{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],
            "string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}"#,
    )
    .unwrap();
    let written = "{\"literals\":[null,true,false],\"numbers\":[333333333.3333333,1e+30,4.5,0.002,1e-27],\
                   \"string\":\"\u{20ac}$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}";
    assert_eq!(canonical(&primitive), written);
    let sorted = canonical(&json!({
        "\u{20ac}": "Euro Sign", "\r": "Carriage Return", "\u{fb33}": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\u{1f600}": "Emoji: Grinning Face", "\u{80}": "Control", "\u{f6}": "Latin Small Letter O With Diaeresis",
    }));
    let order = ["Carriage", "One", "Control", "Latin", "Euro", "Emoji", "Hebrew"];
    let places: Vec<usize> = order.iter().map(|word| sorted.find(word).unwrap()).collect();
    assert!(places.is_sorted(), "{sorted}");
    // Appendix B.
    let numbers = values(include_str!("data/numbers-rfc8785.txt"));
    assert_eq!(numbers.len(), 24);
    for v in numbers {
        let number = f64::from_bits(u64::from_str_radix(v[0], 16).unwrap());
        assert_eq!(canonical(&json!(number)), v[1], "{}", v[0]);
    }
}
