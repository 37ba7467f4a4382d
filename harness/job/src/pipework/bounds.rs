//! What each value of a pipework may be. Wide enough for any real pipework; they catch slips of the unit.
//!
//! Not here: what is good design; the airflow engine warns of that.
use crate::{units::Dimension::*, written::Bounds};

pub(crate) const LENGTH: Bounds =
    Bounds::new(Length, 0.0, 1000.0, "a pipe's length", "a length of more than 0 and at most 1000 m").above();
pub(crate) const BORE: Bounds = Bounds::new(Length, 5e-4, 0.5, "a bore", "an inside diameter from 0.5 mm to 500 mm");
pub(crate) const ROUGHNESS: Bounds =
    Bounds::new(Length, 0.0, 5e-3, "a roughness", "a roughness from 0 to 5 mm (smooth plastic: 0.0015 mm)");
pub(crate) const DIAMETER: Bounds =
    Bounds::new(Length, 2e-4, 0.1, "a hole's diameter", "a diameter from 0.2 mm to 100 mm");
pub(crate) const DISCHARGE: Bounds =
    Bounds::new(Ratio, 0.1, 1.0, "a discharge coefficient", "a number from 0.1 to 1 (drilled holes: 0.6 to 0.8)");
pub(crate) const HEIGHT: Bounds = Bounds::new(Length, -1000.0, 1000.0, "a height", "a height from -1000 m to 1000 m");
pub(crate) const DISTANCE: Bounds =
    Bounds::new(Length, 0.0, 1000.0, "a distance along a pipe", "a distance from 0 to 1000 m");
pub(crate) const K: Bounds =
    Bounds::new(Ratio, 0.0, 10_000.0, "a loss coefficient", "a number from 0 to 10000, such as 0.75");
pub(crate) const OUTSIDE: Bounds =
    Bounds::new(Pressure, -5000.0, 5000.0, "a pressure against ambient", "a pressure from -5000 Pa to 5000 Pa");
pub(crate) const SUCTION: Bounds =
    Bounds::new(Pressure, 0.0, 20_000.0, "a suction", "how far the pressure is below ambient, from 0 to 20 kPa");
pub(crate) const LOSS: Bounds = Bounds::new(Pressure, 0.0, 20_000.0, "a pressure loss", "a pressure from 0 to 20 kPa");
pub(crate) const LOSS_FLOW: Bounds =
    Bounds::new(Flow, 0.0, 1.0, "the flow of a loss", "the flow at which it was stated, such as \"40 L/min\"").above();
pub(crate) const FAN_FLOW: Bounds = Bounds::new(Flow, 0.0, 1.0, "a fan's flow", "a flow from 0 to 1 m3/s");
pub(crate) const FAN_PRESSURE: Bounds =
    Bounds::new(Pressure, -20_000.0, 20_000.0, "a fan's pressure", "a pressure of at most 20 kPa");
pub(crate) const SPEED: Bounds =
    Bounds::new(Ratio, 0.0, 10.0, "a fan's speed", "a share of the curve's speed, such as \"80 %\"").above();
pub(crate) const VOLUME: Bounds = Bounds::new(Volume, 0.0, 1.0, "a volume", "a volume from 0 to 1 m3");
pub(crate) const LAG: Bounds = Bounds::new(Time, 0.0, 600.0, "a sensor's lag", "a time from 0 to 600 s");
pub(crate) const TEMPERATURE: Bounds =
    Bounds::new(Temperature, -90.0, 120.0, "an air temperature", "a temperature from -90 to 120 degC");
pub(crate) const AIR_PRESSURE: Bounds = Bounds::new(
    Pressure,
    30_000.0,
    120_000.0,
    "the air's pressure",
    "the absolute pressure at the site, from 300 to 1200 hPa",
);
pub(crate) const ALTITUDE: Bounds =
    Bounds::new(Length, -500.0, 9000.0, "an altitude", "an altitude from -500 m to 9000 m");
pub(crate) const HUMIDITY: Bounds = Bounds::new(Ratio, 0.0, 1.0, "a relative humidity", "a humidity from 0 % to 100 %");
pub(crate) const DENSITY: Bounds =
    Bounds::new(Density, 0.1, 10.0, "the air's density", "a density from 0.1 to 10 kg/m3");
pub(crate) const VISCOSITY: Bounds =
    Bounds::new(Viscosity, 1e-6, 1e-3, "the air's viscosity", "a viscosity from 1 to 1000 uPa s");
pub(crate) const UNCERTAINTY: Bounds =
    Bounds::new(Ratio, 0.0, 1.0, "a standard uncertainty", "a share from 0 % to 100 %");
