//! What a pipework file says of the air at the site, the unit's own air path, the model and the tolerances.
//!
//! Not here: the pipes.
use super::{FrictionChoice, ModelChoice, bounds, raw};
use crate::{
    error::{Kind, Problem, Source},
    tables, units,
    written::{Q, ReadOr, Spanned, choice},
};
use plumeline_base::pipework::{
    Air, AirPath, CurveInterpolation, Drive, Fan, FanPoint, GivenAir, Known, Loss, Pipework, Tolerance,
};
use plumeline_unit::{Description, description::UnitAir};

/// Air density that losses and fan curves refer to where none is stated, kg/m3 (the usual reference for fans: 20
/// degC, 101325 Pa, 50 %; common practice).
pub(super) const REFERENCE_DENSITY: f64 = 1.2;

/// The pipe friction laws by name.
pub(super) const FRICTION_LAWS: &[(&str, FrictionChoice)] = &[
    ("churchill", FrictionChoice::Churchill),
    ("hagen-dunlop-swamee-jain", FrictionChoice::HagenDunlopSwameeJain),
    ("colebrook", FrictionChoice::Colebrook),
];
/// The ways between the points of a fan curve, by name.
pub(super) const INTERPOLATIONS: &[(&str, CurveInterpolation)] =
    &[("monotone", CurveInterpolation::MonotoneCubic), ("linear", CurveInterpolation::Linear)];

pub(super) fn model(source: &Source<'_>, m: &raw::Model) -> Result<ModelChoice, Problem> {
    let default = ModelChoice::default();
    Ok(ModelChoice {
        friction: m
            .friction
            .as_ref()
            .map_or(Ok(default.friction), |n| choice(source, n, "a friction law", FRICTION_LAWS))?,
        momentum: m.momentum.unwrap_or(default.momentum),
    })
}

pub(super) fn air(source: &Source<'_>, a: &raw::Air, notes: &mut Vec<String>) -> Result<Air, Problem> {
    let temperature_c = a.temperature.read_or(source, 20.0)?;
    let relative_humidity = a.humidity.read_or(source, 0.5)?;
    let pressure_pa = match (&a.pressure, &a.altitude) {
        (Some(p), None) => p.read(source)?,
        (None, Some(h)) => {
            let h = h.read(source)?;
            notes.push(format!("air pressure from the altitude {h} m by ISO 2533:1975, standard atmosphere"));
            pressure_at(h)
        }
        (None, None) => units::PA_PER_ATM,
        (Some(_), Some(h)) => {
            let cause = "the air's pressure and the altitude are both given";
            return Err(source.problem(Kind::Conflict, h.span(), cause, "keep one of the two"));
        }
    };
    let given = match (&a.density, &a.viscosity) {
        (Some(d), Some(v)) => Some(GivenAir { density: d.read(source)?, viscosity: v.read(source)? }),
        (None, None) => None,
        (density, viscosity) => {
            let one = density.as_ref().map(|q| q.span()).or(viscosity.as_ref().map(|q| q.span()));
            let cause = "the air's density and viscosity belong together; one of them is missing";
            return Err(source.problem(Kind::MissingKey, one.unwrap_or_default(), cause, "give both, or neither"));
        }
    };
    let missing = |stated: bool, what: &str| (!stated).then(|| what.to_owned());
    let pressure_missing = a.pressure.is_none() && a.altitude.is_none();
    let assumed: Vec<_> = [
        missing(a.temperature.is_some(), "20 degC"),
        pressure_missing.then(|| "1013.25 hPa".to_owned()),
        missing(a.humidity.is_some(), "50 % humidity"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !assumed.is_empty() && given.is_none() {
        notes.push(format!("air assumed: {}", assumed.join(", ")));
    }
    Ok(Air { temperature_c, pressure_pa, relative_humidity, given })
}

/// Pressure of the standard atmosphere, Pa, at a geopotential altitude up to 11 km: ISO 2533:1975 with g0 9.80665
/// m/s2, R 287.05287 J/(kg K), lapse 6.5 K/km, 288.15 K at sea level (constants from memory; the test holds them
/// against the published table).
fn pressure_at(altitude_m: f64) -> f64 {
    const EXPONENT: f64 = 9.806_65 / (287.052_87 * 0.006_5);
    units::PA_PER_ATM * libm::pow(1.0 - 0.006_5 * altitude_m / 288.15, EXPONENT)
}

pub(crate) fn loss(source: &Source<'_>, l: &Spanned<raw::Loss>) -> Result<Loss, Problem> {
    let written = l.as_ref();
    let flow = written.flow.read(source)?;
    if written.linear.is_none() && written.quadratic.is_none() {
        let remedy = "add `quadratic = \"20 Pa\"` (turbulent: fittings, grilles) or `linear = \"20 Pa\"` (laminar: fine filters), or both";
        return Err(source.problem(Kind::MissingKey, l.span(), "a loss needs a pressure at its flow", remedy));
    }
    let pressure = |q: &Option<Q<bounds::Loss>>| q.read_or(source, 0.0);
    Ok(Loss { linear: pressure(&written.linear)? / flow, quadratic: pressure(&written.quadratic)? / (flow * flow) })
}

pub(crate) fn loss_or_none(source: &Source<'_>, l: Option<&Spanned<raw::Loss>>) -> Result<Loss, Problem> {
    l.map_or(Ok(Loss::default()), |l| loss(source, l))
}

/// The air path of a model and the share of full speed that its fan runs at.
pub(super) struct Named<'a> {
    pub(super) model: &'a str,
    pub(super) air: &'a UnitAir,
    speed: f64,
}
impl<'a> Named<'a> {
    /// What is named, if anything is.
    pub(super) fn find(
        source: &Source<'_>,
        models: &'a [Description],
        model: Option<&Spanned<String>>,
        setting: Option<&Spanned<f64>>,
    ) -> Result<Option<Self>, Problem> {
        let Some(name) = model else {
            let Some(setting) = setting else { return Ok(None) };
            let cause = "a fan setting means nothing without the model whose scale it is on";
            return Err(source.problem(Kind::MissingKey, setting.span(), cause, "name the `model` beside it"));
        };
        let Some(described) = models.iter().find(|d| d.model == *name.as_ref()) else {
            let mut p = crate::written::unknown_name(
                source,
                name,
                "a described model",
                models.iter().map(|d| d.model.as_str()),
            );
            p.extend_remedy("; or put its description into the job, or state [unit.fan] and losses here");
            return Err(p);
        };
        let Some(air) = &described.air else {
            let cause = format!("the description of {} has no air path", described.model);
            return Err(source.problem(Kind::MissingKey, name.span(), cause, "add [air] to it, or state the fan here"));
        };
        let speed = match setting {
            None => 1.0,
            Some(setting) => air.speed(*setting.as_ref()).ok_or_else(|| {
                let cause = format!("the fan of a {} has no such setting", described.model);
                let (first, last) = (air.speeds.first(), air.speeds.last());
                let of =
                    first.zip(last).map(|((a, _), (b, _))| if a == b { format!("{a}") } else { format!("{a} to {b}") });
                let remedy = of.map_or_else(
                    || "leave it out: its description states no fan settings".into(),
                    |of| format!("its description states {of}"),
                );
                source.problem(Kind::Range, setting.span(), cause, remedy)
            })?,
        };
        Ok(Some(Self { model: &described.model, air, speed }))
    }
    /// The fan at the speed that it runs at.
    pub(super) fn drive(&self) -> Drive {
        Drive::Fan(Fan { speed: self.speed, ..self.air.fan.clone() })
    }
}

/// The loss as stated, or as the model has it, or none.
pub(super) fn loss_or(
    source: &Source<'_>,
    l: Option<&Spanned<raw::Loss>>,
    model: Option<Loss>,
) -> Result<Loss, Problem> {
    l.map_or(Ok(model.unwrap_or_default()), |l| loss(source, l))
}

pub(super) fn air_path(
    source: &Source<'_>,
    u: &raw::Unit,
    named: Option<&Named<'_>>,
    drive: Drive,
) -> Result<AirPath, Problem> {
    let air = named.map(|n| n.air);
    Ok(AirPath {
        loss: loss_or(source, u.loss.as_ref(), air.map(|a| a.loss))?,
        volume_m3: u.volume.read_or(source, air.map_or(0.0, |a| a.volume_m3))?,
        sensor_lag_s: u.sensor_lag.read_or(source, air.map_or(0.0, |a| a.sensor_lag_s))?,
        drive,
        exhaust_loss: loss_or(source, u.exhaust_loss.as_ref(), air.map(|a| a.exhaust_loss))?,
        exhaust_pa: u.exhaust_pressure.read_or(source, 0.0)?,
        exhaust_elevation_m: u.exhaust_height.read_or(source, 0.0)?,
    })
}

/// The same pipes on the outgoing unit.
pub(super) fn outgoing(
    source: &Source<'_>,
    o: &raw::Outgoing,
    models: &[Description],
    new: &Pipework,
) -> Result<Pipework, Problem> {
    let named = Named::find(source, models, o.model.as_ref(), o.fan_setting.as_ref())?;
    let air = named.as_ref().map(|n| n.air);
    let mut old = new.clone();
    let own = o.inlet_loss.as_ref().map(|l| loss(source, l)).transpose()?;
    if let Some(own) = own.or(air.map(|a| a.inlet_loss)) {
        old.inlets.iter_mut().for_each(|i| i.loss = own);
    }
    old.unit.loss = loss_or(source, o.loss.as_ref(), air.map(|a| a.loss))?;
    old.unit.exhaust_loss = loss_or(source, o.exhaust_loss.as_ref(), air.map(|a| a.exhaust_loss))?;
    old.unit.drive = match (&o.fan, &named) {
        (Some(own), _) => Drive::Fan(fan(source, own.as_ref())?),
        (None, Some(named)) => named.drive(),
        (None, None) => {
            let cause = "nothing says what moved the outgoing unit's air";
            return Err(source.problem(Kind::MissingKey, 0..0, cause, "name its `model`, or add [outgoing.fan]"));
        }
    };
    Ok(old)
}

pub(crate) fn fan(source: &Source<'_>, f: &raw::Fan) -> Result<Fan, Problem> {
    let points = f.curve.as_ref();
    if !(2..=1000).contains(&points.len()) {
        let cause = format!("the fan curve has {} points", points.len());
        let remedy = "give 2 to 1000 points as [flow, pressure], by rising flow";
        return Err(source.problem(Kind::Range, f.curve.span(), cause, remedy));
    }
    let mut curve: Vec<FanPoint> = Vec::with_capacity(points.len());
    for point in points {
        let (flow, pressure) = point.as_ref();
        let next = FanPoint { flow_m3_s: flow.read(source)?, pressure_pa: pressure.read(source)? };
        if curve.last().is_some_and(|p| p.flow_m3_s >= next.flow_m3_s) {
            let cause = "the points of the fan curve do not go by rising flow";
            return Err(source.problem(Kind::Range, point.span(), cause, "sort the points; each flow stands once"));
        }
        curve.push(next);
    }
    Ok(Fan {
        curve,
        interpolation: f
            .interpolation
            .as_ref()
            .map_or(Ok(CurveInterpolation::default()), |n| choice(source, n, "an interpolation", INTERPOLATIONS))?,
        speed: f.speed.read_or(source, 1.0)?,
        reference_density: f.density.read_or(source, REFERENCE_DENSITY)?,
        u_pressure: f.uncertainty.read_or(source, 0.03)?,
    })
}

pub(super) fn tolerances(
    source: &Source<'_>,
    t: &raw::Tolerances,
    notes: &mut Vec<String>,
) -> Result<Vec<Known>, Problem> {
    if let Some(preset) = &t.preset {
        choice(source, preset, "a preset of tolerances", &[(tables::TOLERANCE_PRESET, ())])?;
    }
    notes.push(format!(
        "tolerances: preset \"{}\" (common practice, no source), with what the file sets in its place",
        tables::TOLERANCE_PRESET
    ));
    tables::BASES
        .iter()
        .zip([&t.surveyed, &t.drawing, &t.assumed])
        .map(|(basis, set)| {
            let mut known = tables::tolerances(*basis);
            let Some(set) = set else { return Ok(known) };
            for (to, from) in [
                (&mut known.diameter, &set.diameter),
                (&mut known.discharge, &set.discharge),
                (&mut known.bore, &set.bore),
                (&mut known.length, &set.length),
                (&mut known.roughness, &set.roughness),
                (&mut known.minor_k, &set.fittings),
            ] {
                if let Some(from) = from {
                    let read = |q: &Q<bounds::Uncertainty>| q.read(source);
                    *to = Tolerance { common: read(&from.common)?, individual: read(&from.individual)? };
                }
            }
            Ok(known)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn standard_atmosphere() {
        // ISO 2533:1975 and U.S. Standard Atmosphere 1976, table of pressure by geopotential altitude.
        for (h, pa) in [(0.0, 101_325.0), (1000.0, 89_874.6), (2000.0, 79_495.2), (5000.0, 54_019.9)] {
            assert!((super::pressure_at(h) - pa).abs() < 0.1, "{h} m: {}", super::pressure_at(h));
        }
    }
}
