//! What a person typed off a display: numbers in a row, yes and no, names out of a list. Nothing here panics on any text.
//!
//! Not here: whether what was typed can be ([`super::face::Scale`]), and what is asked.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

/// Numbers in a row, one for each that is asked for, with or without their unit, with a comma or a point; `-` or `?` for one
/// that is not shown. Blanks or semicolons stand between them.
///
/// # Errors
/// Why it is not that, for the person who typed it.
pub fn numbers(text: &str, unit: &str, wanted: usize) -> Result<Vec<Option<f64>>, String> {
    let text = text.to_lowercase();
    let bare = if unit.is_empty() { text } else { text.replace(&unit.to_lowercase(), " ") };
    let cells = bare.split(|c: char| c.is_whitespace() || c == ';').map(|c| c.trim_end_matches(','));
    let read = cells.filter(|c| !c.is_empty()).map(number).collect::<Result<Vec<_>, _>>()?;
    if read.len() == wanted {
        return Ok(read);
    }
    let count = |n: usize| if n == 1 { "one number is".to_string() } else { format!("{n} numbers are") };
    Err(format!("{} wanted with a blank between them, {} typed", count(wanted), read.len()))
}

/// A number with a comma or a point; `None`: it is not shown.
fn number(cell: &str) -> Result<Option<f64>, String> {
    if matches!(cell, "-" | "--" | "---" | "?") {
        return Ok(None);
    }
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+');
    let marks = cell.matches(['.', ',']).count();
    let read = cell.replace(',', ".").parse::<f64>().ok();
    match read.filter(|x| x.is_finite() && marks <= 1 && cell.chars().all(plain)) {
        Some(x) => Ok(Some(x)),
        None => Err(format!("{} is no number", short(cell))),
    }
}

/// What a person says to a question that wants yes or no.
pub(super) fn yes(text: &str) -> bool {
    matches!(text.trim().to_lowercase().as_str(), "y" | "yes" | "done" | "right")
}

/// The same text, whatever its case and its blanks.
pub(super) fn same(a: &str, b: &str) -> bool {
    let plain = |t: &str| t.split_whitespace().collect::<String>().to_lowercase();
    plain(a) == plain(b)
}

/// The positions of the names that were typed, with commas between; none by "none".
///
/// # Errors
/// A name that is not in the list.
pub fn names(text: &str, known: &[String]) -> Result<Vec<usize>, String> {
    if matches!(text.trim().to_lowercase().as_str(), "none" | "nothing" | "no") {
        return Ok(Vec::new());
    }
    let typed = text.split([',', ';']).map(str::trim).filter(|t| !t.is_empty());
    let found = typed.map(|t| {
        known.iter().position(|k| same(k, t)).ok_or_else(|| format!("{} is none of the names in the list", short(t)))
    });
    let found: Vec<usize> = found.collect::<Result<_, _>>()?;
    if found.is_empty() { Err("type the names that are lit, or: none".into()) } else { Ok(found) }
}

/// Digits of one number that were swapped, or one digit that differs: what a slip of the fingers makes.
pub(super) fn is_slip(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.trim().chars().collect(), b.trim().chars().collect());
    let sorted = |t: &[char]| {
        let mut t = t.to_vec();
        t.sort_unstable();
        t
    };
    let off = a.iter().zip(&b).filter(|(x, y)| x != y).count();
    match a.len().abs_diff(b.len()) {
        0 => off == 1 || off > 0 && sorted(&a) == sorted(&b),
        1 => {
            let (short, long) = if a.len() < b.len() { (&a, &b) } else { (&b, &a) };
            (0..long.len()).any(|i| long.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, c)| c).eq(short.iter()))
        }
        _ => false,
    }
}

/// A text short enough to be said back.
pub(super) fn short(text: &str) -> String {
    const MOST: usize = 40;
    let tame: String = text.chars().filter(|c| !c.is_control()).take(MOST).collect();
    format!("\"{tame}\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_type_them() {
        let two = Ok([Some(31.5), Some(32.0)].to_vec());
        for text in
            ["31.5 32", "31,5 32", "31,5, 32", "31.5; 32", "31.5 L/min  32 l/min", "31,5L/min 32L/MIN", "31.5\t32.0"]
        {
            assert_eq!(numbers(text, "L/min", 2), two, "{text}");
        }
        assert_eq!(numbers("98% -", "%", 2), Ok([Some(98.0), None].to_vec()));
        for text in
            ["", "31.5", "31.5 32 33", "31.5 x", "1.234,5 3", "31..5 32", "nan 3", "inf 3", "1e3 3", "31.5 m3/h 32"]
        {
            assert!(numbers(text, "L/min", 2).is_err(), "{text}");
        }
    }
    #[test]
    fn slips_of_the_fingers_are_known() {
        for (a, b) in [("4711", "4171"), ("4711", "4712"), ("4711", "471"), ("31.5", "13.5"), ("77", "777")] {
            assert!(is_slip(a, b) && is_slip(b, a), "{a} {b}");
        }
        for (a, b) in [("4711", "4711"), ("902", "771"), ("1", "333"), ("", "")] {
            assert!(!is_slip(a, b), "{a} {b}");
        }
    }
    #[test]
    fn lamps_are_named_or_none_is() {
        let known = ["AIR 1".to_string(), "FAULT".to_string()];
        assert_eq!(names("fault, air  1", &known), Ok([1, 0].to_vec()));
        assert_eq!(names(" None ", &known), Ok(Vec::new()));
        assert!(names("", &known).is_err());
        assert!(names("FAULT, FIRE", &known).is_err());
    }
}
