//! What is written where in a `pipework.toml`: the keys of the format, with their places in the text.
//!
//! Not here: what the values mean; see the modules beside this one.
use super::{
    bounds,
    named::{OnTheWalk, TextOrEach},
};
use crate::written::{Q, Spanned, Written};
use serde::{
    Deserialize, Deserializer,
    de::{Error, MapAccess, Visitor},
};
use std::{collections::BTreeMap, fmt, ops::Range};
#[cfg(feature = "schema")]
use {
    super::{
        MAX_INLETS, MAX_OPENINGS,
        named::{LABEL, PLACE},
        network, unit,
    },
    crate::schema::{names, one_kind, one_of, quantity_or, quantity_or_each},
    crate::{tables, written::Bounded},
};

/// One value for all, or a list with one for each.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(untagged, inline))]
pub(crate) enum OneOrEach {
    One(Written),
    Each(Vec<Q<bounds::Diameter>>),
}
impl<'de> Deserialize<'de> for OneOrEach {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct AsWritten;
        impl<'de> Visitor<'de> for AsWritten {
            type Value = OneOrEach;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value with its unit in quotes, such as \"3 mm\", or a list of them, one for each hole")
            }
            fn visit_str<E: Error>(self, v: &str) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Text(v.to_owned())))
            }
            fn visit_i64<E: Error>(self, v: i64) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Number(v as f64)))
            }
            fn visit_f64<E: Error>(self, v: f64) -> Result<OneOrEach, E> {
                Ok(OneOrEach::One(Written::Number(v)))
            }
            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut seq: A) -> Result<OneOrEach, A::Error> {
                let mut all = Vec::new();
                while let Some(v) = seq.next_element()? {
                    all.push(v);
                }
                Ok(OneOrEach::Each(all))
            }
        }
        d.deserialize_any(AsWritten)
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(
    feature = "schema",
    derive(schemars::JsonSchema),
    schemars(title = "pipework.toml: the sampling pipework of a unit")
)]
pub(crate) struct File {
    /// Version of the format.
    #[cfg_attr(feature = "schema", schemars(extend("const" = super::FORMAT)))]
    pub(crate) format: Spanned<i64>,
    /// What the pipework is called: site and zone.
    #[serde(default)]
    pub(crate) name: String,
    /// What holds where nothing else is said.
    #[serde(default)]
    pub(crate) defaults: Defaults,
    /// The air at the site.
    #[serde(default)]
    pub(crate) air: Air,
    /// The unit's own air path.
    #[serde(default)]
    pub(crate) unit: Unit,
    /// The outgoing unit's air path, so that its flows as found can be translated to the new unit's.
    pub(crate) outgoing: Option<Outgoing>,
    /// How the airflow is computed.
    #[serde(default)]
    pub(crate) model: Model,
    /// How well facts of the pipework are known, by their basis.
    #[serde(default)]
    pub(crate) tolerance: Tolerances,
    /// Loss coefficients of fittings of the site's own, by name, on the velocity head of their pipe.
    #[serde(default)]
    pub(crate) fitting: BTreeMap<String, Q<bounds::K>>,
    /// Pipes in the usual form: the way from the unit outward.
    #[serde(default)]
    pub(crate) pipe: Vec<Spanned<Pipe>>,
    /// Points of a network.
    #[serde(default)]
    pub(crate) node: Vec<Node>,
    /// Lengths of pipe between points.
    #[serde(default)]
    pub(crate) segment: Vec<Segment>,
    /// Holes, end caps and open ends at points.
    #[serde(default)]
    pub(crate) opening: Vec<Opening>,
    /// Inlets of a network, or more about those that pipes have.
    #[serde(default)]
    pub(crate) inlet: Vec<Inlet>,
    /// The order in which a person walks along the pipes, where it is another than by rule.
    #[serde(default)]
    pub(crate) walk: Vec<Spanned<OnTheWalk>>,
}

/// What holds where nothing else is said.
#[derive(Clone, Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Defaults {
    /// Inside diameter of pipes; 21 mm if not stated.
    pub(crate) bore: Option<Q<bounds::Bore>>,
    /// Roughness of their walls; 0.0015 mm if not stated.
    pub(crate) roughness: Option<Q<bounds::Roughness>>,
    /// Discharge coefficient of holes; 0.65 if not stated.
    pub(crate) discharge: Option<Q<bounds::Discharge>>,
    /// How the facts are known; "assumed" if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(extend(
    "dependentRequired" = { "density": ["viscosity"], "viscosity": ["density"] },
    "not" = { "required": ["pressure", "altitude"] }
)))]
pub(crate) struct Air {
    /// 20 degC if not stated.
    pub(crate) temperature: Option<Q<bounds::Temperature>>,
    /// 1013.25 hPa if not stated; or give the altitude.
    pub(crate) pressure: Option<Q<bounds::AirPressure>>,
    /// In place of the pressure, which then follows by the standard atmosphere (ISO 2533).
    pub(crate) altitude: Option<Q<bounds::Altitude>>,
    /// Relative humidity; 50 % if not stated.
    pub(crate) humidity: Option<Q<bounds::Humidity>>,
    /// Given directly, with the viscosity.
    pub(crate) density: Option<Q<bounds::Density>>,
    /// Dynamic viscosity, given directly, with the density.
    pub(crate) viscosity: Option<Q<bounds::Viscosity>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Unit {
    /// The model by whose description everything holds that is not stated here: fan, losses, volumes, lag, bore of inlets.
    pub(crate) model: Option<Spanned<String>>,
    /// The setting that its fan runs at, by the description's own scale; full speed if not stated.
    pub(crate) fan_setting: Option<Spanned<f64>>,
    /// How many inlets there are; those without a pipe are plugged.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_INLETS)))]
    pub(crate) inlets: Option<Spanned<i64>>,
    /// Inside diameter of each inlet.
    pub(crate) inlet_bore: Option<Q<bounds::Bore>>,
    /// Loss of each inlet, up to the manifold.
    pub(crate) inlet_loss: Option<Spanned<Loss>>,
    /// Volume of each inlet, up to the manifold.
    pub(crate) inlet_volume: Option<Q<bounds::Volume>>,
    /// Loss from the manifold to the sensor: filter, chamber.
    pub(crate) loss: Option<Spanned<Loss>>,
    /// Volume from the manifold to the sensor.
    pub(crate) volume: Option<Q<bounds::Volume>>,
    /// Time constant of the sensor's own response.
    pub(crate) sensor_lag: Option<Q<bounds::Lag>>,
    /// Loss of the exhaust.
    pub(crate) exhaust_loss: Option<Spanned<Loss>>,
    /// Pressure where the exhaust ends, against the air at the unit.
    pub(crate) exhaust_pressure: Option<Q<bounds::Outside>>,
    /// Height of the exhaust's end above the unit.
    pub(crate) exhaust_height: Option<Q<bounds::Height>>,
    /// What moves the air; or name the `model`, or measure `suction` at every inlet.
    pub(crate) fan: Option<Spanned<Fan>>,
}

/// The outgoing unit's air path, where it is known: `speed` of its fan is the one it ran at.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", schemars(extend("anyOf" = [{ "required": ["model"] }, { "required": ["fan"] }])))]
pub(crate) struct Outgoing {
    /// The model by whose description everything holds that is not stated here.
    pub(crate) model: Option<Spanned<String>>,
    /// The setting that its fan ran at, by the description's own scale; full speed if not stated.
    pub(crate) fan_setting: Option<Spanned<f64>>,
    /// Loss of each inlet, up to the manifold; as of the new unit if not stated.
    pub(crate) inlet_loss: Option<Spanned<Loss>>,
    /// Loss from the manifold to the sensor: filter, chamber.
    pub(crate) loss: Option<Spanned<Loss>>,
    /// Loss of the exhaust.
    pub(crate) exhaust_loss: Option<Spanned<Loss>>,
    /// What moved the air.
    pub(crate) fan: Option<Spanned<Fan>>,
}

/// Pressure lost at a flow, in its part that grows with the flow and its part that grows with the flow's square.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(extend("anyOf" = [{ "required": ["linear"] }, { "required": ["quadratic"] }])))]
pub(crate) struct Loss {
    /// The flow at which the loss was stated.
    pub(crate) flow: Q<bounds::LossFlow>,
    /// The part that grows with the flow: fine filters.
    pub(crate) linear: Option<Q<bounds::Loss>>,
    /// The part that grows with the flow's square: fittings, grilles.
    pub(crate) quadratic: Option<Q<bounds::Loss>>,
}

/// Flow and pressure.
type FanPoint = (Q<bounds::FanFlow>, Q<bounds::FanPressure>);

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Fan {
    /// 2 to 1000 points [flow, pressure], by rising flow.
    #[cfg_attr(feature = "schema", schemars(length(min = 2, max = 1000)))]
    pub(crate) curve: Spanned<Vec<Spanned<FanPoint>>>,
    /// Between the points; "monotone" if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = names(unit::INTERPOLATIONS)))]
    pub(crate) interpolation: Option<Spanned<String>>,
    /// Share of the curve's speed; 100 % if not stated.
    pub(crate) speed: Option<Q<bounds::Speed>>,
    /// Density of the air that the curve was taken at; 1.2 kg/m3 if not stated.
    pub(crate) density: Option<Q<bounds::Density>>,
    /// Relative standard uncertainty of the pressure; 3 % if not stated.
    pub(crate) uncertainty: Option<Q<bounds::Uncertainty>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Model {
    /// The pipe friction law; "churchill" if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = names(unit::FRICTION_LAWS)))]
    pub(crate) friction: Option<Spanned<String>>,
    /// Whether the change of momentum at holes counts; it does if not stated.
    pub(crate) momentum: Option<bool>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Tolerances {
    /// The tolerances that hold where this file sets none.
    #[cfg_attr(feature = "schema", schemars(extend("const" = tables::TOLERANCE_PRESET)))]
    pub(crate) preset: Option<Spanned<String>>,
    /// In place of the preset's, for surveyed facts.
    pub(crate) surveyed: Option<Known>,
    /// In place of the preset's, for facts from a drawing.
    pub(crate) drawing: Option<Known>,
    /// In place of the preset's, for assumed facts.
    pub(crate) assumed: Option<Known>,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Known {
    /// Diameters of holes.
    pub(crate) diameter: Option<Tolerance>,
    /// Discharge coefficients of holes.
    pub(crate) discharge: Option<Tolerance>,
    /// Inside diameters of pipes.
    pub(crate) bore: Option<Tolerance>,
    /// Lengths of pipes.
    pub(crate) length: Option<Tolerance>,
    /// Roughness of walls.
    pub(crate) roughness: Option<Tolerance>,
    /// Loss coefficients of fittings.
    pub(crate) fittings: Option<Tolerance>,
}

#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Tolerance {
    /// The part that the whole pipework shares.
    pub(crate) common: Q<bounds::Uncertainty>,
    /// The part of each fact by itself.
    pub(crate) individual: Q<bounds::Uncertainty>,
}

/// A pipe in the usual form: the way from the unit outward, step by step.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Pipe {
    /// The inlet that carries this pipe.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_INLETS)))]
    pub(crate) inlet: Spanned<i64>,
    /// Inside diameter along this pipe.
    pub(crate) bore: Option<Q<bounds::Bore>>,
    /// Roughness of its walls.
    pub(crate) roughness: Option<Q<bounds::Roughness>>,
    /// Discharge coefficient of its holes.
    pub(crate) discharge: Option<Q<bounds::Discharge>>,
    /// How its facts are known.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
    /// Suction measured at its inlet, in place of a fan curve.
    pub(crate) suction: Option<Q<bounds::Suction>>,
    /// Number of its first hole; 1 if not stated.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_OPENINGS)))]
    pub(crate) number_from: Option<Spanned<i64>>,
    /// The steps of the way from the unit outward.
    pub(crate) run: Spanned<Vec<Spanned<Step>>>,
    /// What is different at some of its holes.
    #[serde(default)]
    pub(crate) except: Vec<Spanned<Except>>,
}

/// A step of the way. Exactly one of its keys says what it is; the others belong to that.
// In the file they all stand side by side.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema), schemars(transform = one_kind))]
pub(crate) struct Step {
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) what: What,
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) row: Row,
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) loss: StepLoss,
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) of_pipe: OfPipe,
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) of_hole: OfHole,
    #[cfg_attr(feature = "schema", schemars(flatten))]
    pub(crate) of_place: OfPlace,
}

/// What a step is: one of them.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct What {
    /// Goes on by a straight length.
    pub(crate) pipe: Option<Q<bounds::Length>>,
    /// Adds the loss of a fitting, by name.
    #[cfg_attr(feature = "schema", schemars(extend("examples" = tables::FITTINGS.iter().map(|f| f.name).collect::<Vec<_>>())))]
    pub(crate) fitting: Option<Spanned<String>>,
    /// A hole here, of this diameter.
    pub(crate) hole: Option<Q<bounds::Diameter>>,
    /// That many holes, each behind a length of pipe.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_OPENINGS)))]
    pub(crate) holes: Option<Spanned<i64>>,
    /// Holes at distances from where this step begins.
    pub(crate) holes_at: Option<Spanned<Vec<Q<bounds::Distance>>>>,
    /// Ends the run with a cap: "blind", or the diameter of its hole.
    #[cfg_attr(feature = "schema", schemars(transform = quantity_or(&bounds::Cap::BOUNDS, "blind")))]
    pub(crate) cap: Option<Spanned<Written>>,
    /// Ends the run open.
    #[cfg_attr(feature = "schema", schemars(extend("const" = true)))]
    pub(crate) open: Option<Spanned<bool>>,
    /// A tee: the branch's own run; then this run goes on.
    pub(crate) branch: Option<Spanned<Vec<Spanned<Step>>>>,
    /// Gives this point a name.
    pub(crate) mark: Option<Spanned<String>>,
    /// Ends the run at a named point, which closes a ring.
    pub(crate) join: Option<Spanned<String>>,
}

/// Where the holes of a step are.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct Row {
    /// Diameter of the holes: one for all, or a list with one for each.
    #[cfg_attr(feature = "schema", schemars(transform = quantity_or_each(&bounds::Diameter::BOUNDS)))]
    pub(crate) diameter: Option<Spanned<OneOrEach>>,
    /// Length of pipe before the first hole; `every` if not stated.
    pub(crate) first: Option<Q<bounds::Distance>>,
    /// Length of pipe before each further hole.
    pub(crate) every: Option<Q<bounds::Spacing>>,
}

/// What a fitting or a tee costs.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct StepLoss {
    /// How many such fittings; 1 if not stated.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = 1000)))]
    pub(crate) count: Option<Spanned<i64>>,
    /// Loss coefficient of the fitting, in place of the table's.
    pub(crate) k: Option<Q<bounds::K>>,
    /// Loss coefficient into the branch; 1.5 if not stated.
    pub(crate) k_branch: Option<Q<bounds::K>>,
    /// Loss coefficient straight on; 0.5 if not stated.
    pub(crate) k_run: Option<Q<bounds::K>>,
}

/// What is known of the pipe of a step; the basis holds for its holes too.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct OfPipe {
    /// Inside diameter of this step's pipe, or of the branch.
    pub(crate) bore: Option<Q<bounds::Bore>>,
    /// Roughness of its walls.
    pub(crate) roughness: Option<Q<bounds::Roughness>>,
    /// Height gained over the whole step.
    pub(crate) rise: Option<Q<bounds::Height>>,
    /// Temperature of the air inside.
    pub(crate) temperature: Option<Q<bounds::Temperature>>,
    /// How these facts are known.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
}

/// What is known of the holes of a step.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct OfHole {
    /// Discharge coefficient of the hole.
    pub(crate) discharge: Option<Q<bounds::Discharge>>,
    /// Pressure of the hole's room or void, against the air at the unit.
    pub(crate) outside: Option<Q<bounds::Outside>>,
    /// Whether a person can get at the hole; yes if not stated.
    pub(crate) reachable: Option<Spanned<bool>>,
    /// Whether the hole is closed on purpose; no if not stated.
    pub(crate) blocked: Option<Spanned<bool>>,
    /// A capillary from the pipe to the hole.
    pub(crate) drop: Option<Spanned<DropTube>>,
}

/// What people at the site know the holes of a step by.
#[derive(Debug, Default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub(crate) struct OfPlace {
    /// What is written beside the hole; for several holes a list with one for each. Prompts name it.
    pub(crate) label: Option<Spanned<TextOrEach>>,
    /// Where it is, in words that lead a person there; for several holes one for all, or a list with one for each. Prompts name it.
    #[cfg_attr(feature = "schema", schemars(rename = "where"))]
    pub(crate) place: Option<Spanned<TextOrEach>>,
}

/// The key of a field.
macro_rules! key {
    ($field:ident) => {
        stringify!($field)
    };
    ($field:ident $key:literal) => {
        $key
    };
}
/// Reads the keys of a step into its groups (`serde(flatten)` would lose their places in the text), and tells where they stand.
macro_rules! step_keys {
    ($($group:ident: $($key:ident $(= $name:literal)?)*;)*) => {
        #[derive(Deserialize)]
        #[serde(field_identifier)]
        #[allow(non_camel_case_types, reason = "named as the keys are")]
        enum StepKey { $($($(#[serde(rename = $name)])? $key,)*)* }

        impl<'de> Visitor<'de> for StepVisitor {
            type Value = Step;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a step of the way")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Step, A::Error> {
                let mut step = Step::default();
                while let Some(key) = map.next_key()? {
                    match key { $($(StepKey::$key => step.$group.$key = Some(map.next_value()?),)*)* }
                }
                Ok(step)
            }
        }
        impl Step {
            /// The keys that it has, with their places.
            pub(super) fn keys(&self) -> impl Iterator<Item = (&'static str, Range<usize>)> {
                let all = [$($((key!($key $($name)?), self.$group.$key.as_ref().map(|v| v.span())),)*)*];
                all.into_iter().filter_map(|(key, span)| Some((key, span?)))
            }
        }
    };
}
step_keys! {
    what: pipe fitting hole holes holes_at cap open branch mark join;
    row: diameter first every;
    loss: count k k_branch k_run;
    of_pipe: bore roughness rise temperature basis;
    of_hole: discharge outside reachable blocked drop;
    of_place: label place = "where";
}
struct StepVisitor;
impl<'de> Deserialize<'de> for Step {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_map(StepVisitor)
    }
}

/// A capillary from the pipe to a sampling point.
#[derive(Clone, Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct DropTube {
    /// Its length.
    pub(crate) length: Q<bounds::Length>,
    /// Its inside diameter.
    pub(crate) bore: Q<bounds::Bore>,
    /// Height gained along it; negative where it hangs down.
    pub(crate) rise: Option<Q<bounds::Height>>,
    /// Loss coefficient of its exit into the pipe; 1 if not stated.
    pub(crate) k: Option<Q<bounds::K>>,
}

/// What is different at some holes of a pipe, by their numbers.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Except {
    /// Numbers of the holes.
    pub(crate) holes: Spanned<Vec<Spanned<i64>>>,
    /// Their diameter.
    pub(crate) diameter: Option<Q<bounds::Diameter>>,
    /// Discharge coefficient of the hole.
    pub(crate) discharge: Option<Q<bounds::Discharge>>,
    /// Pressure of its room or void, against the air at the unit.
    pub(crate) outside: Option<Q<bounds::Outside>>,
    /// Whether a person can get at it; yes if not stated.
    pub(crate) reachable: Option<bool>,
    /// Whether it is closed on purpose; no if not stated.
    pub(crate) blocked: Option<bool>,
    /// What is written beside it. Prompts name it.
    #[cfg_attr(feature = "schema", schemars(length(min = 1, max = LABEL)))]
    pub(crate) label: Option<Spanned<String>>,
    /// Where it is, in words that lead a person there. Prompts name it.
    #[serde(rename = "where")]
    #[cfg_attr(feature = "schema", schemars(length(min = 1, max = PLACE)))]
    pub(crate) place: Option<Spanned<String>>,
    /// How these facts are known.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Node {
    /// Its name.
    pub(crate) name: Spanned<String>,
    /// Its height above the unit; 0 m if not stated.
    pub(crate) height: Option<Q<bounds::Height>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Segment {
    /// Name of the point nearer to the unit.
    pub(crate) near: Spanned<String>,
    /// Name of the point farther from the unit.
    pub(crate) far: Spanned<String>,
    /// Its length.
    pub(crate) length: Q<bounds::Length>,
    /// Its inside diameter.
    pub(crate) bore: Option<Q<bounds::Bore>>,
    /// Roughness of its walls.
    pub(crate) roughness: Option<Q<bounds::Roughness>>,
    /// Fittings in it, by name.
    #[serde(default)]
    pub(crate) fittings: Vec<Spanned<String>>,
    /// Further loss coefficient, on its velocity head.
    pub(crate) k: Option<Q<bounds::K>>,
    /// Whether it is a capillary; no if not stated.
    pub(crate) capillary: Option<bool>,
    /// Temperature of the air inside.
    pub(crate) temperature: Option<Q<bounds::Temperature>>,
    /// How these facts are known.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Opening {
    /// Name of the point where it is.
    pub(crate) node: Spanned<String>,
    /// Its number along its inlet's pipe.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_OPENINGS)))]
    pub(crate) number: Spanned<i64>,
    /// What it is; a hole if not stated.
    #[cfg_attr(feature = "schema", schemars(transform = names(network::OPENING_KINDS)))]
    pub(crate) kind: Option<Spanned<String>>,
    /// Its diameter.
    pub(crate) diameter: Q<bounds::Diameter>,
    /// Discharge coefficient of the hole.
    pub(crate) discharge: Option<Q<bounds::Discharge>>,
    /// Pressure of its room or void, against the air at the unit.
    pub(crate) outside: Option<Q<bounds::Outside>>,
    /// Whether a person can get at it; yes if not stated.
    pub(crate) reachable: Option<bool>,
    /// Whether it is closed on purpose; no if not stated.
    pub(crate) blocked: Option<bool>,
    /// What is written beside it. Prompts name it.
    #[cfg_attr(feature = "schema", schemars(length(min = 1, max = LABEL)))]
    pub(crate) label: Option<Spanned<String>>,
    /// Where it is, in words that lead a person there. Prompts name it.
    #[serde(rename = "where")]
    #[cfg_attr(feature = "schema", schemars(length(min = 1, max = PLACE)))]
    pub(crate) place: Option<Spanned<String>>,
    /// How these facts are known.
    #[cfg_attr(feature = "schema", schemars(transform = one_of(tables::BASES.map(tables::basis_name).into())))]
    pub(crate) basis: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct Inlet {
    /// Its number on the unit.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = MAX_INLETS)))]
    pub(crate) number: Spanned<i64>,
    /// Name of the point where it is; none if it is plugged or a pipe has it.
    pub(crate) node: Option<Spanned<String>>,
    /// Suction measured at it, in place of a fan curve.
    pub(crate) suction: Option<Q<bounds::Suction>>,
    /// Its inside diameter.
    pub(crate) bore: Option<Q<bounds::Bore>>,
    /// Its loss, up to the manifold.
    pub(crate) loss: Option<Spanned<Loss>>,
    /// Its volume, up to the manifold.
    pub(crate) volume: Option<Q<bounds::Volume>>,
}
