//! What a unit's sensors make of the truth: bias, drift, noise with a memory, quantisation.
//!
//! Not here: what the unit makes of its readings (see [`crate::device`]).
use crate::{
    models::Model,
    rng::{Stream, Wander},
};
use plumeline_base::quantity::KELVIN_AT_0_C;

/// One nanolitre per second, m3/s: what flows are told and kept in.
pub(crate) const NL_S: f64 = 1e-12;

/// How the sensors of a unit err. Relative values are shares of the reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorLaws {
    /// Calibration of flow, common to all inlets of a unit: relative standard deviation.
    pub flow_common: f64,
    /// Calibration of flow of each inlet alone.
    pub flow_individual: f64,
    /// Noise of a flow reading.
    pub flow_noise: f64,
    /// Time over which that noise forgets, s.
    pub flow_noise_s: f64,
    /// Drift of flow calibration: relative standard deviation, over hours.
    pub flow_drift: f64,
    /// Step of a flow reading, m3/s.
    pub flow_step_m3_s: f64,
    /// Noise of the obscuration sensor, 1/m.
    pub extinction_noise_per_m: f64,
    /// Time over which that noise forgets, s.
    pub extinction_noise_s: f64,
    /// What the air carries in normal times, 1/m.
    pub background_per_m: f64,
    /// Relative standard deviation of the background, over tens of minutes.
    pub background_swing: f64,
    /// Calibration of the obscuration sensor, relative standard deviation.
    pub extinction_gain: f64,
    /// Step of an extinction reading, 1/m.
    pub extinction_step_per_m: f64,
}
impl Default for SensorLaws {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            flow_common: 0.03,
            flow_individual: 0.01,
            flow_noise: 0.006,
            flow_noise_s: 2.0,
            flow_drift: 0.003,
            flow_step_m3_s: 0.05 / 60_000.0,
            extinction_noise_per_m: 4e-6,
            extinction_noise_s: 1.5,
            background_per_m: 4e-5,
            background_swing: 0.3,
            extinction_gain: 0.05,
            extinction_step_per_m: 1e-6,
        }
    }
}
impl SensorLaws {
    /// Sensors that tell the truth.
    pub const EXACT: Self = Self {
        flow_common: 0.0,
        flow_individual: 0.0,
        flow_noise: 0.0,
        flow_noise_s: 1.0,
        flow_drift: 0.0,
        flow_step_m3_s: 1e-12,
        extinction_noise_per_m: 0.0,
        extinction_noise_s: 1.0,
        background_per_m: 0.0,
        background_swing: 0.0,
        extinction_gain: 0.0,
        extinction_step_per_m: 1e-9,
    };
}

/// The truth at a unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Truth {
    /// Flow into each inlet, m3/s: as it is, or at the unit's reference conditions.
    pub(crate) flow_m3_s: Vec<f64>,
    /// Extinction at the sensor that comes from released smoke, 1/m.
    pub(crate) extinction_per_m: f64,
    /// The same at the sensor of each inlet, on a unit that has one at each; else empty.
    pub(crate) inlet_extinction_per_m: Vec<f64>,
    /// Fan speed as a share of the speed that the model calls 100 %.
    pub(crate) fan: f64,
    /// Temperature, degC.
    pub(crate) temperature_c: f64,
    /// Mains and battery are there.
    pub(crate) mains: bool,
    /// Battery is there.
    pub(crate) battery: bool,
    /// Inputs that are on.
    pub(crate) inputs: u32,
    /// The cover is open.
    pub(crate) cover_open: bool,
}

/// What the sensors say.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Measured {
    /// Flow of each inlet, m3/s.
    pub(crate) flow_m3_s: Vec<f64>,
    /// Extinction, 1/m: the highest, where there are several sensors.
    pub(crate) extinction_per_m: f64,
    /// Extinction at the sensor of each inlet, 1/m.
    pub(crate) inlet_extinction_per_m: Vec<f64>,
    /// Fan speed, share of 100 %.
    pub(crate) fan: f64,
    /// Temperature, degC.
    pub(crate) temperature_c: f64,
    /// Supply voltage, V.
    pub(crate) supply_v: f64,
    /// Supply current, A.
    pub(crate) supply_a: f64,
}

/// Drift is forgotten over two hours.
const DRIFT_S: f64 = 7200.0;
/// The background changes over a quarter of an hour.
const BACKGROUND_S: f64 = 900.0;
/// Supply: open-circuit voltage of mains and of a charged battery, and the resistance up to the unit (common practice).
const MAINS_V: f64 = 27.2;
const BATTERY_V: f64 = 25.4;
const WIRING_OHM: f64 = 0.6;

/// The sensors of one unit.
#[derive(Clone, Debug)]
pub(crate) struct Sensors {
    laws: SensorLaws,
    stream: Stream,
    gains: Vec<f64>,
    noises: Vec<Wander>,
    drift: Wander,
    extinction_gain: f64,
    extinction_noise: Wander,
    inlet_noises: Vec<Wander>,
    background: Wander,
    temperature_bias: f64,
    idle_a: f64,
    fan_a: f64,
    smooth: Smooth,
}
/// Readings smoothed over time, as a first-order lag.
#[derive(Clone, Debug, Default)]
struct Smooth {
    flow_s: f64,
    extinction_s: f64,
    at_s: Option<f64>,
    flow: Vec<f64>,
    extinction: Vec<f64>,
}
impl Smooth {
    /// Follows what the sensors see at `now_s`.
    fn follow(&mut self, now_s: f64, flow: &mut Vec<f64>, extinction: &mut Vec<f64>) {
        let dt = self.at_s.map_or(f64::INFINITY, |at| now_s - at);
        self.at_s = Some(now_s);
        for (time_s, kept, seen) in
            [(self.flow_s, &mut self.flow, flow), (self.extinction_s, &mut self.extinction, extinction)]
        {
            if time_s <= 0.0 {
                continue;
            }
            kept.resize_with(seen.len(), Default::default);
            let share = -libm::expm1(-dt / time_s);
            kept.iter_mut().zip(seen).for_each(|(kept, seen)| {
                *kept += (*seen - *kept) * share;
                *seen = *kept;
            });
        }
    }
}
impl Sensors {
    /// The sensors of a unit of this model whose draws come from `stream`.
    pub(crate) fn new(mut laws: SensorLaws, mut stream: Stream, inlets: usize, model: &Model) -> Self {
        let (readings, (idle_a, fan_a)) = (model.readings, model.current_a);
        laws.flow_step_m3_s = laws.flow_step_m3_s.max(readings.flow_step_m3_s);
        laws.extinction_step_per_m = laws.extinction_step_per_m.max(readings.extinction_step_per_m);
        let common = laws.flow_common * stream.normal();
        let gains = (0..inlets).map(|_| libm::exp(common + laws.flow_individual * stream.normal())).collect();
        Self {
            gains,
            noises: (0..inlets).map(|_| Wander::new(&mut stream, laws.flow_noise_s)).collect(),
            drift: Wander::new(&mut stream, DRIFT_S),
            extinction_gain: libm::exp(laws.extinction_gain * stream.normal()),
            extinction_noise: Wander::new(&mut stream, laws.extinction_noise_s),
            inlet_noises: Vec::new(),
            background: Wander::new(&mut stream, BACKGROUND_S),
            temperature_bias: 0.3 * stream.normal(),
            idle_a,
            fan_a,
            smooth: Smooth {
                flow_s: readings.flow_smoothing_s,
                extinction_s: readings.extinction_smoothing_s,
                ..Smooth::default()
            },
            laws,
            stream,
        }
    }
    /// Reads all sensors at `now_s`.
    pub(crate) fn read(&mut self, truth: &Truth, now_s: f64, operated: u32) -> Measured {
        let (laws, stream) = (self.laws, &mut self.stream);
        let drift = 1.0 + laws.flow_drift * self.drift.at(stream, now_s);
        let step = |x: f64, size: f64| libm::round(x / size) * size;
        let mut flow_m3_s: Vec<f64> = truth
            .flow_m3_s
            .iter()
            .zip(&self.gains)
            .zip(&mut self.noises)
            .map(|((q, gain), noise)| q * gain * drift * (1.0 + laws.flow_noise * noise.at(stream, now_s)))
            .collect();
        let background = laws.background_per_m * libm::exp(laws.background_swing * self.background.at(stream, now_s));
        let whole = (truth.extinction_per_m + background) * self.extinction_gain
            + laws.extinction_noise_per_m * self.extinction_noise.at(stream, now_s);
        let at_inlets = &truth.inlet_extinction_per_m;
        while self.inlet_noises.len() < at_inlets.len() {
            self.inlet_noises.push(Wander::new(stream, laws.extinction_noise_s));
        }
        let mut extinctions: Vec<f64> = at_inlets
            .iter()
            .zip(&mut self.inlet_noises)
            .map(|(e, noise)| {
                (e + background) * self.extinction_gain + laws.extinction_noise_per_m * noise.at(stream, now_s)
            })
            .collect();
        let per_inlet = !extinctions.is_empty();
        if !per_inlet {
            extinctions.push(whole);
        }
        self.smooth.follow(now_s, &mut flow_m3_s, &mut extinctions);
        flow_m3_s.iter_mut().for_each(|q| *q = step(*q, laws.flow_step_m3_s));
        extinctions.iter_mut().for_each(|e| *e = step(*e, laws.extinction_step_per_m));
        let supply_a =
            self.idle_a + self.fan_a * truth.fan * truth.fan * truth.fan + 0.015 * f64::from(operated.count_ones());
        let open_v = if truth.mains { MAINS_V } else { BATTERY_V };
        Measured {
            flow_m3_s,
            extinction_per_m: extinctions.iter().copied().reduce(f64::max).unwrap_or_default(),
            inlet_extinction_per_m: if per_inlet { extinctions } else { Vec::new() },
            fan: truth.fan,
            temperature_c: step(truth.temperature_c + self.temperature_bias, 0.1),
            supply_v: step(open_v - WIRING_OHM * supply_a, 0.01),
            supply_a: step(supply_a, 0.001),
        }
    }
}

/// A flow at reference conditions from a mass flow.
pub(crate) fn at_reference(mass_kg_s: f64, site_density: f64, site: (f64, f64), reference: (f64, f64)) -> f64 {
    // Density of the same air at the reference temperature and pressure (perfect gas).
    let (site_c, site_pa) = site;
    let (reference_c, reference_pa) = reference;
    let density = site_density * (site_c + KELVIN_AT_0_C) / (reference_c + KELVIN_AT_0_C) * reference_pa / site_pa;
    mass_kg_s / density
}

#[cfg(test)]
mod tests {
    use super::*;
    fn truth() -> Truth {
        Truth { flow_m3_s: vec![5e-4, 7e-4], fan: 1.0, temperature_c: 21.0, mains: true, ..Truth::default() }
    }
    fn model() -> Model {
        Model { current_a: (0.1, 0.2), ..Model::of(crate::scenario::Which::Replacement) }
    }
    #[test]
    fn a_model_shows_steps_and_lags_behind() {
        let mut coarse = model();
        coarse.readings.flow_step_m3_s = 1e-4;
        coarse.readings.flow_smoothing_s = 10.0;
        let mut s = Sensors::new(SensorLaws::EXACT, Stream::new(1, 1), 2, &coarse);
        let first = s.read(&truth(), 0.0, 0).flow_m3_s[1];
        assert!((first - 7e-4).abs() < 1e-12, "{first}");
        let still = Truth { flow_m3_s: vec![0.0, 0.0], ..truth() };
        // After one time constant 0.368 of it is left: 2.6e-4, shown as 3e-4.
        let later = s.read(&still, 10.0, 0).flow_m3_s[1];
        assert!((later - 3e-4).abs() < 1e-12, "{later}");
    }
    #[test]
    fn exact_sensors_tell_the_truth() {
        let mut s = Sensors::new(SensorLaws::EXACT, Stream::new(1, 1), 2, &model());
        let m = s.read(&truth(), 10.0, 0);
        assert!((m.flow_m3_s[1] - 7e-4).abs() < 1e-12 && m.extinction_per_m.abs() < 1e-9);
        assert!((m.supply_a - 0.3).abs() < 1e-9 && (m.supply_v - (27.2 - 0.18)).abs() < 1e-9);
    }
    #[test]
    fn bias_stays_and_noise_averages_out() {
        let laws = SensorLaws::default();
        let mut s = Sensors::new(laws, Stream::new(4, 1), 2, &model());
        let n = 4000;
        let mean: f64 =
            (0..n).map(|i| s.read(&truth(), f64::from(i), 0).flow_m3_s[0]).sum::<f64>() / f64::from(n) / 5e-4;
        assert!((mean - s.gains[0]).abs() < 0.006, "{mean} for {}", s.gains[0]);
        assert!((s.gains[0] - 1.0).abs() > 1e-4, "a unit is biased");
    }
    #[test]
    fn mass_type_sensor_moves_3_4_per_cent_per_10_k() {
        let warm = at_reference(1e-3, 1.2, (30.0, 101_325.0), (20.0, 101_325.0)) * 1.2 / 1e-3;
        assert!((warm - 293.15 / 303.15).abs() < 1e-12);
    }
}
