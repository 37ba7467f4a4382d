//! Numbers as loggers write them: decimal point or comma, groups of three digits; and the words that stand for none.
//! Not here: which column they are in.

/// The decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimal {
    /// `12.5`
    Point,
    /// `12,5`
    Comma,
}
impl Decimal {
    const fn byte(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }
    const fn other(self) -> Self {
        match self {
            Self::Point => Self::Comma,
            Self::Comma => Self::Point,
        }
    }
}

/// What the marks in a number tell of the decimal mark of its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Evidence {
    /// Nothing: it has none.
    None,
    /// Nothing, but that four digits and more stand together: groups are not marked.
    NoGroups,
    /// It can be read with this mark only.
    Is(Decimal),
    /// One mark before three digits: decimal, or between groups.
    Either(Decimal),
}

pub(super) fn evidence(text: &str) -> Evidence {
    let mantissa = text.split(['e', 'E']).next().unwrap_or_default().trim_start_matches(['+', '-', '−']);
    let count = |mark: Decimal| mantissa.bytes().filter(|b| *b == mark.byte()).count();
    match (count(Decimal::Point), count(Decimal::Comma)) {
        (0, 0) if mantissa.bytes().take_while(u8::is_ascii_digit).count() > 3 => Evidence::NoGroups,
        (0, 0) => Evidence::None,
        (points, commas) if points > 0 && commas > 0 => {
            let last = if mantissa.rfind('.') > mantissa.rfind(',') { Decimal::Point } else { Decimal::Comma };
            Evidence::Is(last)
        }
        (points, commas) => {
            let mark = if points > 0 { Decimal::Point } else { Decimal::Comma };
            if points + commas > 1 {
                return Evidence::Is(mark.other());
            }
            let (before, after) = mantissa.split_once(char::from(mark.byte())).unwrap_or_default();
            let grouped = after.len() == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0');
            if grouped { Evidence::Either(mark) } else { Evidence::Is(mark) }
        }
    }
}

/// The number that is written, if it is one.
pub(super) fn parse(text: &str, decimal: Decimal) -> Option<f64> {
    let plain = |b: u8| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'e' | b'E');
    if text.bytes().all(|b| plain(b) || (decimal == Decimal::Point && b == b'.')) {
        return text.parse().ok().filter(|x: &f64| x.is_finite());
    }
    let (sign, rest) = match text.strip_prefix(['-', '−']) {
        Some(rest) => ("-", rest),
        None => ("", text.strip_prefix('+').unwrap_or(text)),
    };
    let (mantissa, exponent) = rest.find(['e', 'E']).map_or((rest, ""), |at| rest.split_at(at));
    let (whole, fraction) = match mantissa.split_once(char::from(decimal.byte())) {
        Some((whole, fraction)) => (whole, fraction),
        None => (mantissa, ""),
    };
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let group = char::from(decimal.other().byte());
    let marks = [group, ' ', '\u{a0}', '\u{202f}', '\u{2009}', '\'', '’'];
    let mut groups = whole.split(|c| marks.contains(&c));
    let first = groups.next().unwrap_or_default();
    let mut all = first.to_owned();
    let mut grouped = false;
    for part in groups {
        grouped = true;
        (part.len() == 3 && digits(part)).then(|| all.push_str(part))?;
    }
    let fits = digits(first) && digits(fraction) && (!grouped || (1..=3).contains(&first.len()));
    (fits && !(all.is_empty() && fraction.is_empty())).then_some(())?;
    format!("{sign}{all}.{fraction}{exponent}").parse().ok().filter(|x: &f64| x.is_finite())
}

/// A number by either mark.
pub(super) fn is_number(text: &str) -> bool {
    text.bytes().any(|b| b.is_ascii_digit())
        && (parse(text, Decimal::Point).is_some() || parse(text, Decimal::Comma).is_some())
}

/// What instruments write where they have no value; compared without case, blanks and what is put around words.
const NO_VALUE: &[&str] = &[
    "",
    "nan",
    "na",
    "nodata",
    "novalue",
    "none",
    "null",
    "nil",
    "missing",
    "invalid",
    "bad",
    "error",
    "err",
    "fault",
    "fail",
    "failed",
    "open",
    "ol",
    "overload",
    "over",
    "overrange",
    "overflow",
    "ovrng",
    "ovr",
    "orng",
    "hi",
    "high",
    "under",
    "underrange",
    "underflow",
    "ur",
    "unr",
    "lo",
    "low",
    "inf",
    "infinity",
    "satd",
    "saturated",
    "outofrange",
    "range",
    "value",
    "div0",
    "ref",
    "bereichsüberschreitung",
    "überlauf",
    "unterlauf",
    "fehler",
    "ungültig",
    "keinwert",
    "erreur",
    "invalide",
    "horsgamme",
];
/// The least that IVI and SCPI write for infinity (9.9E37) and for no number (9.91E37).
const NO_NUMBER: f64 = 9.9e37;

/// A word for no value: a common one, or one of the user's own.
pub(super) fn is_gap(text: &str, own: &[String]) -> bool {
    if own.iter().any(|word| word.trim() == text) {
        return true;
    }
    if text.len() > 40 || text.starts_with(|c: char| c.is_ascii_digit()) {
        return false;
    }
    let word: String = text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    // A lone letter or digit says nothing, unless there is nothing but marks: "---", "***", "?".
    NO_VALUE.contains(&word.as_str())
}

/// A number that stands for none.
pub(super) fn is_no_number(value: f64) -> bool {
    value.abs() >= NO_NUMBER
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_they_are_written() {
        for (text, decimal, value) in [
            ("12.5", Decimal::Point, 12.5),
            ("12,5", Decimal::Comma, 12.5),
            ("1.234,5", Decimal::Comma, 1234.5),
            ("1,234,567.5", Decimal::Point, 1_234_567.5),
            ("1 234,5", Decimal::Comma, 1234.5),
            ("1\u{202f}234,5", Decimal::Comma, 1234.5),
            ("1'234.5", Decimal::Point, 1234.5),
            ("−3,0E-2", Decimal::Comma, -0.03),
            (",5", Decimal::Comma, 0.5),
            ("+7", Decimal::Comma, 7.0),
        ] {
            assert_eq!(parse(text, decimal), Some(value), "{text}");
        }
        for text in ["", "1,23", "12,3456.0", "nan", "inf", "0x10", "1..2", "1 2", "--1", "1e999", "."] {
            assert_eq!(parse(text, Decimal::Point), None, "{text}");
        }
    }
    #[test]
    fn what_a_number_tells_of_the_mark() {
        for (text, told) in [
            ("12", Evidence::None),
            ("1234", Evidence::NoGroups),
            ("12,5", Evidence::Is(Decimal::Comma)),
            ("0,345", Evidence::Is(Decimal::Comma)),
            ("1,234", Evidence::Either(Decimal::Comma)),
            ("1.234", Evidence::Either(Decimal::Point)),
            ("1.234.567", Evidence::Is(Decimal::Comma)),
            ("1.234,5", Evidence::Is(Decimal::Comma)),
            ("1,234.5", Evidence::Is(Decimal::Point)),
        ] {
            assert_eq!(evidence(text), told, "{text}");
        }
    }
    #[test]
    fn words_for_no_value() {
        for word in ["", "---", "NaN", "#N/A", "OVER RANGE", "<overload>", "O.L.", "***", "#DIV/0!"] {
            assert!(is_gap(word, &[]), "{word}");
        }
        assert!(!is_gap("ok", &[]) && !is_gap("-9999", &[]) && is_gap("-9999", &["-9999".into()]));
    }
}
