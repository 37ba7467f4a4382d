//! What kind of quantity a number is, so that it can be read, bounded and shown.
//!
//! Not here: the units that people write (the job crate reads them).
use alloc::{format, string::String};

/// What a quantity is, with the unit in which its number is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// m
    Length,
    /// Pa
    Pressure,
    /// m3/s
    Flow,
    /// degC
    Temperature,
    /// s
    Time,
    /// m3
    Volume,
    /// kg/m3
    Density,
    /// Pa s
    Viscosity,
    /// 1 (a per cent is 0.01; a bare number is taken as it is)
    Ratio,
    /// 1 (a whole number without a unit)
    Count,
    /// V
    Voltage,
    /// A
    Current,
    /// A h
    Charge,
    /// Hz
    Frequency,
}
use Dimension::*;

impl Dimension {
    /// The plain word, with its article: `a length`.
    pub const fn word(self) -> &'static str {
        match self {
            Length => "a length",
            Pressure => "a pressure",
            Flow => "a flow",
            Temperature => "a temperature",
            Time => "a time",
            Volume => "a volume",
            Density => "a density",
            Viscosity => "a viscosity",
            Ratio => "a share",
            Count => "a whole number",
            Voltage => "a voltage",
            Current => "a current",
            Charge => "a charge",
            Frequency => "a rate",
        }
    }
    /// How one is written.
    pub const fn example(self) -> &'static str {
        match self {
            Length => "21 mm",
            Pressure => "30 Pa",
            Flow => "45 L/min",
            Temperature => "20 degC",
            Time => "90 s",
            Volume => "250 mL",
            Density => "1.2 kg/m3",
            Viscosity => "18.1 uPa s",
            Ratio => "10 %",
            Count => "3",
            Voltage => "24 V",
            Current => "250 mA",
            Charge => "7 Ah",
            Frequency => "10 Hz",
        }
    }
    /// The unit in which its number is kept; `1` where there is none.
    pub const fn unit(self) -> &'static str {
        match self {
            Length => "m",
            Pressure => "Pa",
            Flow => "m3/s",
            Temperature => "degC",
            Time => "s",
            Volume => "m3",
            Density => "kg/m3",
            Viscosity => "Pa s",
            Ratio | Count => "1",
            Voltage => "V",
            Current => "A",
            Charge => "Ah",
            Frequency => "Hz",
        }
    }
    /// A number of it without a unit is read as it is.
    pub const fn is_bare(self) -> bool {
        matches!(self, Ratio | Count)
    }
    /// A number as people write it: whole hours as hours, shares as per cent, factors over 1 and counts bare.
    pub fn shown(self, value: f64) -> String {
        match self {
            Time if value >= 3600.0 && value % 3600.0 == 0.0 => format!("{} h", value / 3600.0),
            Count => format!("{value}"),
            Ratio if value > 1.0 => format!("{value}"),
            Ratio => match (2..10).map(f64::from).find(|n| 1.0 / n == value && 100.0 % n != 0.0) {
                Some(n) => format!("1/{n}"),
                // Hundredths of a per cent of a per cent are nobody's rule, and hide the noise of the multiplication.
                None => format!("{} %", libm::round(value * 1e6) / 1e4),
            },
            _ => format!("{value} {}", self.unit()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_as_people_write() {
        for (dimension, value, text) in [
            (Time, 40.0, "40 s"),
            (Time, 0.35, "0.35 s"),
            (Time, 14_400.0, "4 h"),
            (Ratio, 0.15, "15 %"),
            (Ratio, 0.9999, "99.99 %"),
            (Ratio, 1.0 / 3.0, "1/3"),
            (Ratio, 0.2, "20 %"),
            (Ratio, 1.75, "1.75"),
            (Ratio, 0.0, "0 %"),
            (Count, 4000.0, "4000"),
            (Voltage, 20.4, "20.4 V"),
        ] {
            assert_eq!(dimension.shown(value), text);
        }
    }
}
