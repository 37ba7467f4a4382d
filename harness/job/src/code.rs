//! A short code for paper: of the record up to one line of its journal. What stands in a site's own log book, in a hand that
//! nobody can alter there, binds the folder from then on: the line must still be in it.
//!
//! 80 bits of the line's hash as 16 letters and digits, and two digits by which a slip of the pen is seen (ISO/IEC 7064, MOD 97-10).
//! Not here: who writes it down, and the journal.
use crate::digest::Digest;

/// Letters and digits that are not taken for one another (Crockford's base 32).
const SIGNS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Bytes of the hash that a code stands for.
const BYTES: usize = 10;
const GROUP: usize = 4;

/// The code of a line of the journal by its hash.
pub fn of(line: &Digest) -> String {
    let bits = line.0[..BYTES].iter().fold(0_u128, |bits, byte| bits << 8 | u128::from(*byte));
    let signs: Vec<char> = (0..16).rev().map(|n| char::from(SIGNS[(bits >> (5 * n)) as usize & 31])).collect();
    let groups: Vec<String> = signs.chunks(GROUP).map(|group| group.iter().collect()).collect();
    format!("{}-{:02}", groups.join("-"), check(bits))
}

fn check(bits: u128) -> u128 {
    98 - (bits % 97 * 100) % 97
}

/// The code as [`of`] writes it, of what a person typed: small letters, spaces, and letters that look like digits are understood.
///
/// # Errors
/// What is wrong with it: it has another length, a sign that no code has, or was copied wrongly.
pub fn read(typed: &str) -> Result<String, String> {
    let signs: Vec<char> = typed.chars().filter(|c| !c.is_whitespace() && *c != '-').collect();
    if signs.len() != 18 {
        return Err(format!("a code has 16 letters and digits and two digits, not {}", signs.len()));
    }
    let (code, digits) = signs.split_at(16);
    let mut bits = 0_u128;
    for sign in code {
        let plain = match sign.to_ascii_uppercase() {
            'I' | 'L' => '1',
            'O' => '0',
            other => other,
        };
        let value = SIGNS.iter().position(|s| char::from(*s) == plain);
        bits = bits << 5 | value.ok_or_else(|| format!("no code has the sign `{sign}`"))? as u128;
    }
    let digits: String = digits.iter().collect();
    if digits.replace(['O', 'o'], "0").replace(['I', 'i', 'L', 'l'], "1").parse() != Ok(check(bits)) {
        return Err("it was copied wrongly: its last two digits do not go with the rest".to_owned());
    }
    let mut hash = [0; 32];
    hash[..BYTES].copy_from_slice(&bits.to_be_bytes()[16 - BYTES..]);
    Ok(of(&Digest(hash)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_reads_back_and_every_slip_of_one_sign_or_of_two_neighbours_is_seen() {
        for seed in 0..50_u8 {
            let code = of(&Digest::of(&[seed]));
            assert_eq!(code.len(), 22, "{code}");
            assert_eq!(read(&code), Ok(code.clone()));
            assert_eq!(
                read(&code.to_lowercase().replace('-', " ").replace('0', "O").replace('1', "l")),
                Ok(code.clone())
            );
            let signs: Vec<char> = code.chars().collect();
            for at in (0..signs.len()).filter(|i| signs[*i] != '-') {
                for other in SIGNS.iter().map(|s| char::from(*s)).filter(|s| *s != signs[at]) {
                    let mut slip = signs.clone();
                    slip[at] = other;
                    assert!(read(&slip.iter().collect::<String>()).is_err(), "{code}: {at} {other}");
                }
            }
            let plain: Vec<char> = signs.iter().copied().filter(|s| *s != '-').collect();
            for at in (0..15).filter(|i| plain[*i] != plain[i + 1]) {
                let mut slip = plain.clone();
                slip.swap(at, at + 1);
                assert!(read(&slip.iter().collect::<String>()).is_err(), "{code}: {at}");
            }
        }
        for wrong in ["", "7K3Q", "UUUU-UUUU-UUUU-UUUU-00", "0000-0000-0000-0000-xx"] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
