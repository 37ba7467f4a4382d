//! What each value of a pipework may be. Wide enough for any real pipework; they catch slips of the unit.
//!
//! Not here: what is good design; the airflow engine warns of that.
use crate::{
    units::Dimension,
    written::{Bounded, Bounds},
};

/// A type for each, so that a key says once what its value may be.
macro_rules! bounds {
    ($($name:ident = $bounds:expr;)*) => {$(
        #[derive(Clone, Debug)]
        pub(crate) struct $name;
        impl Bounded for $name {
            const BOUNDS: Bounds = $bounds;
        }
    )*};
}
bounds! {
    Length =
        Bounds::new(Dimension::Length, 0.0, 1000.0, "a pipe's length", "a length of more than 0 and at most 1000 m").above();
    Bore = Bounds::new(Dimension::Length, 5e-4, 0.5, "a bore", "an inside diameter from 0.5 mm to 500 mm").measured();
    Spacing = Bounds::new(Dimension::Length, 0.02, 1000.0, "a distance between holes", "a distance from 20 mm to 1000 m");
    Roughness =
        Bounds::new(Dimension::Length, 0.0, 5e-3, "a roughness", "a roughness from 0 to 5 mm (smooth plastic: 0.0015 mm)");
    Diameter = Bounds::new(Dimension::Length, 2e-4, 0.1, "a hole's diameter", "a diameter from 0.2 mm to 100 mm");
    Discharge =
        Bounds::new(Dimension::Ratio, 0.1, 1.0, "a discharge coefficient", "a number from 0.1 to 1 (drilled holes: 0.6 to 0.8)");
    Height = Bounds::new(Dimension::Length, -1000.0, 1000.0, "a height", "a height from -1000 m to 1000 m");
    Distance = Bounds::new(Dimension::Length, 0.0, 1000.0, "a distance along a pipe", "a distance from 0 to 1000 m");
    K = Bounds::new(Dimension::Ratio, 0.0, 10_000.0, "a loss coefficient", "a number from 0 to 10000, such as 0.75");
    Outside =
        Bounds::new(Dimension::Pressure, -5000.0, 5000.0, "a pressure against ambient", "a pressure from -5000 Pa to 5000 Pa");
    Suction =
        Bounds::new(Dimension::Pressure, 0.0, 20_000.0, "a suction", "how far the pressure is below ambient, from 0 to 20 kPa");
    Loss = Bounds::new(Dimension::Pressure, 0.0, 20_000.0, "a pressure loss", "a pressure from 0 to 20 kPa");
    LossFlow =
        Bounds::new(Dimension::Flow, 0.0, 1.0, "the flow of a loss", "the flow at which it was stated, such as \"40 L/min\"").above();
    FanFlow = Bounds::new(Dimension::Flow, 0.0, 1.0, "a fan's flow", "a flow from 0 to 1 m3/s");
    FanPressure =
        Bounds::new(Dimension::Pressure, -20_000.0, 20_000.0, "a fan's pressure", "a pressure of at most 20 kPa");
    Speed =
        Bounds::new(Dimension::Ratio, 0.0, 10.0, "a fan's speed", "a share of the curve's speed, such as \"80 %\"").above();
    Volume = Bounds::new(Dimension::Volume, 0.0, 1.0, "a volume", "a volume from 0 to 1 m3");
    Renewed = Bounds::new(Dimension::Time, 0.0, 600.0, "how long a number stays", "a time from 0 to 600 s");
    TestLasts =
        Bounds::new(Dimension::Time, 1.0, 3600.0, "how long an output stays operated", "a time from 1 s to 1 h");
    Lag = Bounds::new(Dimension::Time, 0.0, 600.0, "a sensor's lag", "a time from 0 to 600 s");
    Temperature =
        Bounds::new(Dimension::Temperature, -90.0, 120.0, "an air temperature", "a temperature from -90 to 120 degC");
    AirPressure =
        Bounds::new(Dimension::Pressure, 30_000.0, 120_000.0, "the air's pressure", "the absolute pressure at the site, from 300 to 1200 hPa");
    Altitude = Bounds::new(Dimension::Length, -500.0, 9000.0, "an altitude", "an altitude from -500 m to 9000 m");
    Humidity = Bounds::new(Dimension::Ratio, 0.0, 1.0, "a relative humidity", "a humidity from 0 % to 100 %");
    Density = Bounds::new(Dimension::Density, 0.1, 10.0, "the air's density", "a density from 0.1 to 10 kg/m3");
    Viscosity =
        Bounds::new(Dimension::Viscosity, 1e-6, 1e-3, "the air's viscosity", "a viscosity from 1 to 1000 uPa s");
    Uncertainty = Bounds::new(Dimension::Ratio, 0.0, 1.0, "a standard uncertainty", "a share from 0 % to 100 %");
    Cap = Bounds::new(
        Dimension::Length,
        2e-4,
        0.1,
        "an end cap's hole",
        "a diameter from 0.2 mm to 100 mm, or \"blind\" for a cap without a hole",
    );
}
