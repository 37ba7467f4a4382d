//! Quantities as people write them, "21 mm" or "3/4 in", turned into SI numbers.
//!
//! Not here: whether a value makes sense in its place; see the formats that ask for it.
use crate::error::{Kind, nearest, quoted};
pub use plumeline_base::dimension::Dimension;
use plumeline_base::quantity::{KELVIN_AT_0_C, M_PER_FT, M_PER_IN, M3_S_PER_L_MIN, PA_PER_IN_WATER};

/// How a written number becomes SI: multiplied, divided (exact for decimal prefixes), or a temperature scale.
enum Scale {
    Times(f64),
    Over(f64),
    Kelvin,
    Fahrenheit,
}
use Dimension::*;
use Scale::*;

/// Kilograms in a pound (exact).
const KG_PER_LB: f64 = 0.453_592_37;
/// One standard atmosphere in pascal (exact).
pub(crate) const PA_PER_ATM: f64 = 101_325.0;
/// One millimetre of water (conventional) in pascal. NIST SP 811 (2008), appendix B.
const PA_PER_MM_WATER: f64 = 9.806_65;
/// One pound-force per square inch in pascal. NIST SP 811 (2008), appendix B.
const PA_PER_PSI: f64 = 6_894.757;

/// Every unit that is read. The first of a dimension is the one that messages show.
const UNITS: &[(Dimension, &str, Scale)] = &[
    (Length, "m", Times(1.0)),
    (Length, "mm", Over(1e3)),
    (Length, "cm", Over(1e2)),
    (Length, "km", Times(1e3)),
    (Length, "um", Over(1e6)),
    (Length, "µm", Over(1e6)),
    (Length, "in", Times(M_PER_IN)),
    (Length, "ft", Times(M_PER_FT)),
    (Pressure, "Pa", Times(1.0)),
    (Pressure, "hPa", Times(1e2)),
    (Pressure, "kPa", Times(1e3)),
    (Pressure, "mbar", Times(1e2)),
    (Pressure, "bar", Times(1e5)),
    (Pressure, "atm", Times(PA_PER_ATM)),
    (Pressure, "inH2O", Times(PA_PER_IN_WATER)),
    (Pressure, "mmH2O", Times(PA_PER_MM_WATER)),
    (Pressure, "psi", Times(PA_PER_PSI)),
    (Flow, "L/min", Times(M3_S_PER_L_MIN)),
    (Flow, "L/s", Over(1e3)),
    (Flow, "L/h", Over(3.6e6)),
    (Flow, "mL/min", Over(6e7)),
    (Flow, "m3/s", Times(1.0)),
    (Flow, "m3/h", Over(3600.0)),
    (Flow, "m³/h", Over(3600.0)),
    (Flow, "ft3/min", Times(M_PER_FT * M_PER_FT * M_PER_FT / 60.0)),
    (Flow, "cfm", Times(M_PER_FT * M_PER_FT * M_PER_FT / 60.0)),
    (Temperature, "degC", Times(1.0)),
    (Temperature, "°C", Times(1.0)),
    (Temperature, "K", Kelvin),
    (Temperature, "degF", Fahrenheit),
    (Temperature, "°F", Fahrenheit),
    (Time, "s", Times(1.0)),
    (Time, "ms", Over(1e3)),
    (Time, "min", Times(60.0)),
    (Time, "h", Times(3600.0)),
    (Volume, "L", Over(1e3)),
    (Volume, "mL", Over(1e6)),
    (Volume, "cm3", Over(1e6)),
    (Volume, "cm³", Over(1e6)),
    (Volume, "m3", Times(1.0)),
    (Volume, "m³", Times(1.0)),
    (Volume, "in3", Times(M_PER_IN * M_PER_IN * M_PER_IN)),
    (Volume, "ft3", Times(M_PER_FT * M_PER_FT * M_PER_FT)),
    (Density, "kg/m3", Times(1.0)),
    (Density, "kg/m³", Times(1.0)),
    (Density, "lb/ft3", Times(KG_PER_LB / (M_PER_FT * M_PER_FT * M_PER_FT))),
    (Viscosity, "Pa s", Times(1.0)),
    (Viscosity, "mPa s", Over(1e3)),
    (Viscosity, "uPa s", Over(1e6)),
    (Viscosity, "µPa s", Over(1e6)),
    (Ratio, "%", Over(1e2)),
    (Voltage, "V", Times(1.0)),
    (Voltage, "mV", Over(1e3)),
    (Current, "A", Times(1.0)),
    (Current, "mA", Over(1e3)),
    (Charge, "Ah", Times(1.0)),
    (Charge, "mAh", Over(1e3)),
    (Frequency, "Hz", Times(1.0)),
    (Frequency, "kHz", Times(1e3)),
];

/// The units that a quantity may be written in.
pub fn of(dimension: Dimension) -> impl Iterator<Item = &'static str> {
    UNITS.iter().filter(move |(d, ..)| *d == dimension).map(|(_, u, _)| *u)
}

/// Every dimension; one with several units several times.
#[cfg(feature = "schema")]
pub(crate) fn dimensions() -> impl Iterator<Item = Dimension> {
    UNITS.iter().map(|(d, ..)| *d).chain([Count])
}

/// The remedy for anything that is no such quantity.
pub(crate) fn remedy(d: Dimension) -> String {
    let units: Vec<_> = of(d).filter(|u| u.is_ascii()).collect();
    let with = if units.is_empty() { String::new() } else { format!("; units: {}", units.join(", ")) };
    format!("write {} with its unit, such as \"{}\"{with}", d.word(), d.example())
}

/// Why a text is not the quantity asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitProblem {
    /// [`Kind::Unit`] or [`Kind::WrongType`].
    pub kind: Kind,
    /// The cause.
    pub cause: String,
    /// The remedy.
    pub remedy: String,
}

/// The SI value of a quantity as written (degC for temperatures).
///
/// Numbers are plain decimals with a point, or fractions ("3/4 in", "1 1/2 in"). The result is finite.
///
/// # Errors
/// A missing number or unit, a unit of another dimension, or one that is not known.
///
/// ```
/// use plumeline_job::units::{Dimension, parse};
/// assert_eq!(parse(Dimension::Length, "21 mm"), Ok(0.021));
/// assert_eq!(parse(Dimension::Length, "1/2 ft"), Ok(0.1524));
/// assert!(parse(Dimension::Length, "30 Pa").is_err());
/// ```
pub fn parse(dimension: Dimension, text: &str) -> Result<f64, UnitProblem> {
    let fail = |kind, cause: String| Err(UnitProblem { kind, cause, remedy: remedy(dimension) });
    let text = text.trim();
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | '/' | ' ' | ',');
    let mut split = text.find(|c| !is_number(c)).unwrap_or(text.len());
    // An exponent belongs to the number: "1.5e-6 m".
    if let Some(rest) = text[split..].strip_prefix(['e', 'E'])
        && rest.starts_with(|c: char| c.is_ascii_digit() || c == '-' || c == '+')
    {
        split += 1 + rest.find(|c| !is_number(c)).unwrap_or(rest.len());
    }
    let (number, unit) = (text[..split].trim(), text[split..].trim());
    if number.contains(',') {
        return fail(Kind::Unit, format!("{} has a comma in its number; the decimal mark is a point", quoted(text)));
    }
    let Some(number) = decimal(number) else {
        return fail(
            Kind::Unit,
            format!("{} is not {}: it does not start with a number", quoted(text), dimension.word()),
        );
    };
    let value = match UNITS.iter().find(|(d, u, _)| *d == dimension && *u == unit) {
        Some((_, _, scale)) => match *scale {
            Times(f) => number * f,
            Over(f) => number / f,
            Kelvin => number - KELVIN_AT_0_C,
            Fahrenheit => (number - 32.0) / 1.8,
        },
        None if unit.is_empty() && dimension.is_bare() => number,
        None if unit.is_empty() => return fail(Kind::Unit, format!("{} has no unit", quoted(text))),
        None => {
            let why = match UNITS.iter().find(|(_, u, _)| *u == unit) {
                Some((other, ..)) => format!("`{unit}` is the unit of {}", other.word()),
                None => match meant(unit)
                    .filter(|m| of(dimension).any(|u| u == *m))
                    .or_else(|| nearest(unit, of(dimension)))
                {
                    Some(near) => format!("the unit {} is not known (did you mean `{near}`?)", quoted(unit)),
                    None => format!("the unit {} is not known", quoted(unit)),
                },
            };
            return fail(Kind::Unit, format!("{} is not {}: {why}", quoted(text), dimension.word()));
        }
    };
    if value.is_finite() { Ok(value) } else { fail(Kind::Range, format!("{} is beyond all bounds", quoted(text))) }
}

/// The unit that people mean by what they write.
fn meant(unit: &str) -> Option<&'static str> {
    Some(match unit.to_lowercase().as_str() {
        "\"" | "''" | "”" | "″" | "inch" | "inches" | "zoll" => "in",
        "'" | "’" | "′" | "foot" | "feet" => "ft",
        "metre" | "meter" | "metres" | "meters" => "m",
        "millimetre" | "millimeter" => "mm",
        "c" | "°" | "deg c" | "celsius" => "degC",
        "f" | "deg f" | "fahrenheit" => "degF",
        "lpm" | "slpm" | "l/minute" | "l/min" | "ltr/min" => "L/min",
        "m3/hr" | "cmh" | "m^3/h" => "m3/h",
        "pascal" | "pascals" => "Pa",
        "\"wc" | "in wc" | "inwc" | "iwc" | "in h2o" | "\"h2o" => "inH2O",
        "mm wc" | "mmwc" | "mm h2o" | "mmws" => "mmH2O",
        "sec" | "secs" | "seconds" => "s",
        "percent" | "pct" => "%",
        "litre" | "liter" | "litres" | "liters" => "L",
        _ => return None,
    })
}

/// A decimal, a fraction, or a whole number and a fraction.
fn decimal(s: &str) -> Option<f64> {
    let plain = |s: &str| s.parse::<f64>().ok().filter(|x| x.is_finite());
    let unsigned = |s: &str| s.bytes().all(|b| b.is_ascii_digit()).then(|| plain(s)).flatten();
    let fraction = |s: &str| {
        let (a, b) = s.split_once('/')?;
        let b = unsigned(b.trim())?;
        (b != 0.0).then_some(())?;
        Some(unsigned(a.trim())? / b)
    };
    if !s.contains('/') {
        return plain(s);
    }
    match s.trim().rsplit_once(' ') {
        Some((whole, part)) if !whole.trim_end().ends_with('/') && !part.starts_with('/') => {
            Some(unsigned(whole.trim())? + fraction(part)?)
        }
        _ => fraction(s),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::pattern;
    use proptest::prelude::*;

    #[test]
    fn written_as_people_write() {
        // Conversions by NIST SP 811 (2008), appendix B.
        for (d, text, si) in [
            (Length, "21mm", 0.021),
            (Length, "3/4 in", 0.75 * 0.0254),
            (Length, "1 1/2 in", 0.0381),
            (Length, "-3 ft", -0.9144),
            (Length, "1.5e-6 m", 1.5e-6),
            (Pressure, "1013.25 hPa", 101_325.0),
            (Pressure, "1 inH2O", 249.0889),
            (Flow, "60 L/min", 1e-3),
            (Flow, "1 cfm", 4.719_474_432e-4),
            (Temperature, "68 degF", 20.0),
            (Temperature, "293.15 K", 20.0),
            (Density, "0.075 lb/ft3", 1.201_384_75),
            (Ratio, "3 %", 0.03),
            (Ratio, "0.5", 0.5),
        ] {
            let got = parse(d, text).unwrap();
            assert!((got - si).abs() <= 1e-7 * si.abs(), "{text}: {got} for {si}");
        }
    }

    #[test]
    fn refusals_say_why() {
        for (d, text, part) in [
            (Length, "21", "has no unit"),
            (Length, "mm", "does not start with a number"),
            (Length, "21 Pa", "`Pa` is the unit of a pressure"),
            (Length, "21 mn", "is not known"),
            (Length, "2,5 m", "comma"),
            (Length, "1/0 in", "number"),
            (Length, "", "number"),
            (Length, "nan m", "number"),
            (Length, "1e999 m", "number"),
            (Length, "1 2 m", "number"),
            (Length, "0.874\"", "did you mean `in`?"),
            (Length, "12'", "did you mean `ft`?"),
            (Flow, "40 lpm", "did you mean `L/min`?"),
        ] {
            let e = parse(d, text).unwrap_err();
            assert!(e.cause.contains(part), "{text}: {}", e.cause);
            assert!(e.remedy.contains("with its unit, such as"));
        }
        // What has nothing in common with a unit is no slip of it.
        assert!(!parse(Length, "21 x").unwrap_err().cause.contains("did you mean"));
    }

    /// Numbers and units, right and wrong, as strangers might write them.
    fn written() -> impl Strategy<Value = String> {
        let number = "[-+]?[0-9]{0,3}( {0,2}[0-9]{1,2} ?/ ?[0-9]{1,2}|[.][0-9]{0,2})?([eE][-+]?[0-9]{1,2})?";
        let units: Vec<_> = UNITS.iter().map(|(_, u, _)| *u).chain(["", "x", "e", "MM"]).collect();
        (number, "[ \t]{0,2}", proptest::sample::select(units)).prop_map(|(n, gap, unit)| format!("{n}{gap}{unit}"))
    }

    #[test]
    fn the_pattern_matches_each_unit_of_its_dimension_alone() {
        for (dimension, unit, _) in UNITS {
            for (other, ..) in UNITS {
                let matcher = regex::Regex::new(&pattern(*other, true)).unwrap();
                let shared = UNITS.iter().any(|(d, u, _)| d == other && u == unit);
                assert_eq!(matcher.is_match(&format!("1.5 {unit}")), shared, "{unit} of {dimension:?} as {other:?}");
            }
        }
    }

    proptest! {
        #[test]
        fn the_pattern_matches_what_is_read_and_nothing_else(s in written()) {
            for d in [Length, Temperature, Ratio, Viscosity] {
                let read = parse(d, &s);
                prop_assert_eq!(regex::Regex::new(&pattern(d, true)).unwrap().is_match(&s), read.is_ok(), "{}", s);
                let unsigned = regex::Regex::new(&pattern(d, false)).unwrap().is_match(&s);
                prop_assert_eq!(unsigned, read.is_ok() && !s.starts_with('-'), "{}", s);
            }
        }
        #[test]
        fn any_text_is_a_number_or_refused(s in ".{0,40}") {
            for d in [Length, Temperature, Ratio] {
                if let Ok(v) = parse(d, &s) { prop_assert!(v.is_finite()); }
            }
        }
    }
}
