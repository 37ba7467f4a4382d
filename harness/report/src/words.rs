//! Numbers, times and strings as people read them. Every number leaves here with its unit.
use plumeline_base::{Instant, Verdict, obscuration::ObscurationUnit, text::visible_line};
use plumeline_procedure::{
    outcome::{Figure, Subject},
    plan::Limit,
};

/// Longest string from outside that is shown, characters; the rest stays in the record.
const LONGEST: usize = 2000;

/// A string from outside, fit to be shown, in one line (a remark may be of several), and not without end.
pub fn clean(s: &str) -> String {
    let one_line = |s: &str| visible_line(&s.replace("\r\n", " ").replace(['\n', '\t'], " ")).into_owned();
    match s.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{} … ({} characters in all)", one_line(&s[..end]), s.chars().count()),
        None => one_line(s),
    }
}

/// A value with this many decimals; very large values in powers of ten, and words where there is no number.
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        "no number".to_owned()
    } else if value.abs() >= 1e7 {
        format!("{value:.3e}")
    } else {
        let s = format!("{value:.decimals$}");
        // No minus before a zero.
        match s.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
            _ => s,
        }
    }
}

/// A value with as few decimals as show it to about six digits: 0.15 is `0.15`, 120 is `120`.
pub fn shortest(value: f64) -> String {
    let s = number(value, 6);
    if s.contains('.') && !s.contains('e') { s.trim_end_matches('0').trim_end_matches('.').to_owned() } else { s }
}

/// Decimals for a value that is known to about `scale`.
pub(crate) fn decimals(scale: f64) -> usize {
    match scale.abs() {
        s if s >= 10.0 => 0,
        s if s >= 1.0 => 1,
        s if s >= 0.1 => 2,
        _ => 3,
    }
}

/// A unit as shown, and what a value in it is multiplied by: fractions are shown as per cent.
pub(crate) fn shown_unit(unit: &str) -> (String, f64) {
    if unit == "1" { ("%".to_owned(), 100.0) } else { (clean(unit), 1.0) }
}

/// A figure: value, expanded uncertainty where it has one, unit, and what a person read it off.
pub fn figure(f: &Figure) -> String {
    let by = f.by.as_ref().map_or_else(String::new, |by| format!(" (read off {})", clean(by)));
    value_of(f) + &by
}

fn value_of(f: &Figure) -> String {
    let (unit, times) = shown_unit(&f.unit);
    let value = f.value * times;
    if !value.is_finite() {
        return format!("no number ({unit})");
    }
    match f.expanded.map(|u| u * times) {
        Some(u) => {
            let d = decimals(if u.is_finite() { u } else { value / 100.0 });
            format!("{} ± {} {unit}", number(value, d), number(u, d))
        }
        None => format!("{} {unit}", number(value, decimals(value / 100.0))),
    }
}

/// A figure, or a dash where there is none.
pub(crate) fn figure_or_dash(f: Option<&Figure>) -> String {
    f.map_or_else(dash, figure)
}

/// What stands where there is nothing to show.
pub(crate) fn dash() -> String {
    "–".to_owned()
}

/// A limit's value with its unit; long times also in minutes or hours.
pub fn limit(l: &Limit) -> String {
    let (unit, times) = shown_unit(&l.unit);
    let value = format!("{} {unit}", shortest(l.value * times));
    if unit == "s" && l.value >= 300.0 { format!("{value} ({})", duration(l.value)) } else { value }
}

/// A fraction as per cent.
pub fn percent(fraction: f64, decimals: usize) -> String {
    format!("{} %", number(fraction * 100.0, decimals))
}

/// A probability: never rounded to certainty, nor told as one where no number between is left.
pub fn probability(p: f64) -> String {
    if !p.is_finite() {
        "no number".to_owned()
    } else if p < 0.0001 {
        "under 0.01 %".to_owned()
    } else if p > 0.9999 {
        "over 99.99 %".to_owned()
    } else {
        percent(p, 2)
    }
}

/// A length of time in seconds as people say it.
pub fn duration(s: f64) -> String {
    if !s.is_finite() || s < 0.0 {
        return "no time".to_owned();
    }
    if s < 60.0 {
        return format!("{} s", number(s, 1));
    }
    let whole = s.round();
    if whole < 3600.0 {
        format!("{} min {} s", (whole / 60.0).floor(), whole % 60.0)
    } else {
        let minutes = (s / 60.0).round();
        format!("{} h {} min", (minutes / 60.0).floor(), minutes % 60.0)
    }
}

/// Log time to the second, `h:mm:ss`.
pub fn log_time(at: Instant) -> String {
    let s = at.as_micros() / 1_000_000;
    format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// An obscuration in its unit, from an extinction in 1/m.
pub fn obscuration(extinction: f64, unit: ObscurationUnit) -> f64 {
    plumeline_base::obscuration::Extinction(extinction).stated(unit)
}

/// A subject as the first words of a line.
pub fn subject(s: &Subject) -> String {
    capital(&clean(&s.to_string()))
}

/// The string with its first letter made a capital.
pub(crate) fn capital(s: &str) -> String {
    let mut chars = s.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// A verdict as the loudest word of a page.
pub const fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Pass => "PASS",
        Verdict::Undecided => "UNDECIDED",
        Verdict::Fail => "FAIL",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plumeline_procedure::plan::Mark;

    #[test]
    fn strings_that_steer_are_made_harmless() {
        assert_eq!(clean("a\u{1b}[31mb\0c\u{202e}d\u{9b}e\u{ffff}"), r"a\u001b[31mb\u0000c\u202ed\u009be\uffff");
        assert_eq!(clean("two\nlines\tÄ 漢 🙂"), "two lines Ä 漢 🙂");
        let long = clean(&"x".repeat(5000));
        assert!(long.ends_with("x … (5000 characters in all)") && long.len() < 2100);
    }
    #[test]
    fn figures_carry_units_and_suit_their_uncertainty() {
        assert_eq!(figure(&Figure::with(42.314, 1.26, "L/min")), "42.3 ± 1.3 L/min");
        assert_eq!(figure(&Figure::plain(48.2, "s")), "48.20 s");
        assert_eq!(figure(&Figure::with(0.0523, 0.004, "1")), "5.23 ± 0.40 %");
        assert_eq!(figure(&Figure::plain(f64::NAN, "s")), "no number (s)");
        let read = Figure { by: Some("Gauge, serial g1".into()), ..Figure::plain(48.2, "Pa") };
        assert_eq!(figure(&read), "48.20 Pa (read off Gauge, serial g1)");
        assert_eq!(figure(&Figure::with(1.0, f64::INFINITY, "s")), "1.000 ± no number s");
        assert_eq!(figure(&Figure::plain(1e300, "Pa")), "1.000e300 Pa");
        assert_eq!(number(-0.0001, 2), "0.00");
    }
    #[test]
    fn limits_and_times_read_well() {
        let l = |value, unit: &str| Limit { value, unit: unit.into(), source: String::new(), mark: Mark::ThisJob };
        assert_eq!(limit(&l(0.15, "1")), "15 %");
        assert_eq!(limit(&l(120.0, "s")), "120 s");
        assert_eq!(limit(&l(14400.0, "s")), "14400 s (4 h 0 min)");
        assert_eq!(duration(59.96), "60.0 s");
        assert_eq!(duration(119.7), "2 min 0 s");
        assert_eq!(duration(3599.7), "1 h 0 min");
        assert_eq!(duration(f64::NAN), "no time");
        assert_eq!(log_time(Instant::from_micros(3_723_999_999)), "1:02:03");
    }
    #[test]
    fn no_probability_is_rounded_to_certainty() {
        assert_eq!(probability(0.99999), "over 99.99 %");
        assert_eq!(probability(0.00001), "under 0.01 %");
        assert_eq!(probability(0.9731), "97.31 %");
        assert_eq!((probability(1.0), probability(0.0)), ("over 99.99 %".to_owned(), "under 0.01 %".to_owned()));
    }
}
