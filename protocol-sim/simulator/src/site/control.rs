//! The site control: what people at the site do, as one JSON object a line. Never plumewire, and never seen by the unit.
//!
//! Not here: who carries the lines.
use super::{Site, place};
use crate::{Defect, DefectKind, physics::steady::response, scenario::Which};
use plumeline_base::{
    Instant,
    obscuration::{Extinction, ObscurationUnit},
    quantity::M3_S_PER_L_MIN,
};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, time::Duration};

const fn yes() -> bool {
    true
}
const fn per_metre() -> ObscurationUnit {
    ObscurationUnit::PercentPerMetre
}

/// What is done. In JSON the field `do` names it: `{"do":"smoke","pipe":1,"hole":12,"obscuration":30,"seconds":20}`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Command {
    /// Hold smoke to a hole for a time.
    Smoke {
        /// The pipe, by the number of the inlet it belongs in.
        pipe: u8,
        /// The hole, by its number along the pipe.
        hole: u32,
        /// How thick, in `unit`.
        obscuration: f64,
        /// `%/m` (if left out), `%/ft` or `dB/m`.
        #[serde(default = "per_metre")]
        unit: ObscurationUnit,
        /// For how long.
        seconds: f64,
    },
    /// Take all smoke away.
    SmokeOff,
    /// Close a hole (tape).
    Close {
        /// The pipe.
        pipe: u8,
        /// The hole.
        hole: u32,
    },
    /// Open a hole that was closed.
    Open {
        /// The pipe.
        pipe: u8,
        /// The hole.
        hole: u32,
    },
    /// Shut an inlet of the unit, or open it again.
    Inlet {
        /// Its number.
        inlet: u8,
        /// Shut, or open again.
        #[serde(default = "yes")]
        shut: bool,
    },
    /// Take a pipe off its inlet.
    PipeOff {
        /// The pipe.
        pipe: u8,
    },
    /// Put a pipe back into its inlet.
    PipeOn {
        /// The pipe.
        pipe: u8,
    },
    /// Take the outgoing unit down, put the replacement up with the pipes in its inlets, power it, and move the cable to it.
    Swap,
    /// Move the serial cable to this unit.
    Cable {
        /// Which.
        unit: Which,
    },
    /// Switch the supplies of a unit.
    Power {
        /// Which; the one on the wall if left out.
        unit: Option<Which>,
        /// Mains; as it was if left out.
        mains: Option<bool>,
        /// Battery; as it was if left out.
        battery: Option<bool>,
    },
    /// Open or close the cover of the unit on the wall.
    Cover {
        /// Open, or closed.
        open: bool,
    },
    /// Switch an input of the unit on the wall.
    Input {
        /// Its number.
        number: u8,
        /// On, or off.
        on: bool,
    },
    /// Change a setting of a unit at its own keys.
    Keypad {
        /// Which; the one on the wall if left out.
        unit: Option<Which>,
        /// The setting's key.
        key: String,
        /// Its new value, of the kind that it has.
        value: serde_json::Value,
    },
    /// Wire a contact that the panel closes for one of its inputs to an input of the unit on the wall.
    Echo {
        /// The panel's wire.
        wire: u8,
        /// The unit's input.
        input: u8,
    },
    /// Isolate the zone at the panel.
    Isolate,
    /// Restore the zone at the panel.
    Restore,
    /// Put a defect right, by name.
    Repair {
        /// Its name.
        defect: String,
    },
    /// What does the panel show?
    Panel,
    /// What do the display and the lamps of the unit show that somebody stands at: the one that the cable goes to?
    Display,
    /// What did a logger store, one reading a second, of the smoke that the unit tells at whom somebody stands? It is put there the first
    /// time that this is asked.
    Logger,
    /// What does its label say, and which settings does it show?
    Label,
    /// Do something at its keys.
    Hand {
        /// What.
        deed: Deed,
        /// The output, where one is meant.
        #[serde(default)]
        output: u8,
    },
    /// What is really so?
    Truth,
}

/// What is done at a unit's keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Deed {
    /// Begin to take the airflow baseline.
    Baseline,
    /// Reset what is latched.
    Reset,
    /// Start anew.
    Restart,
    /// Operate an output for test.
    Operate,
    /// Let it go.
    Rest,
    /// Hold the outputs back.
    HoldBack,
    /// Give them back.
    GiveBack,
}

/// What a unit's label says and its display shows beside the air.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AtHand {
    /// Which unit it is.
    pub unit: Which,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Firmware.
    pub firmware: String,
    /// How many inlets it has.
    pub inlets: u8,
    /// Its settings by their keys.
    pub settings: BTreeMap<String, Keyed>,
    /// The baseline that it holds, L/min by inlet.
    pub baseline_l_min: Option<Vec<Option<f64>>>,
    /// The baseline is being taken.
    pub taking: bool,
    /// Its outputs are held back.
    pub inhibited: bool,
    /// What a meter shows at its supply terminals, V.
    pub supply_v: f64,
    /// What a meter shows in its supply, A.
    pub supply_a: f64,
}
/// The value of a setting as a display shows it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Keyed {
    /// Yes or no.
    Switch(bool),
    /// A number.
    Number(f64),
    /// A word or a text.
    Text(String),
    /// Nothing that could be read.
    Nothing,
}

/// What a unit shows to whoever stands before it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Shown {
    /// Flow of each inlet, L/min, as its sensors tell it.
    pub flow_l_min: Vec<f64>,
    /// Smoke, %/m, of its sensor or of each.
    pub smoke_percent_per_m: Vec<f64>,
    /// Alarm levels that are reached.
    pub levels: Vec<u8>,
    /// Alarm levels that stay until they are reset.
    pub latched: Vec<u8>,
    /// Outputs that are operated.
    pub outputs: Vec<u8>,
    /// Faults that stand, in words.
    pub faults: Vec<&'static str>,
    /// Inlets whose flow is under its band.
    pub flow_low: Vec<u8>,
    /// Inlets whose flow is over its band.
    pub flow_high: Vec<u8>,
    /// It starts, or its fan is not at speed.
    pub busy: bool,
}

/// Why a command was not carried out.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{cause}")]
pub struct Refusal {
    /// What is wrong.
    pub cause: String,
    /// What to do.
    pub remedy: &'static str,
}
pub(crate) fn refuse<T>(cause: impl Into<String>, remedy: &'static str) -> Result<T, Refusal> {
    Err(Refusal { cause: cause.into(), remedy })
}

/// What is really so in the air.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AirTruth {
    /// Which unit is on the wall.
    pub mounted: Which,
    /// Fan speed, share of 100 %.
    pub fan: f64,
    /// Extinction of smoke at the sensor, 1/m.
    pub extinction_per_m: f64,
    /// Each inlet.
    pub inlets: Vec<InletTruth>,
    /// Each opening of the design.
    pub holes: Vec<HoleTruth>,
    /// What is wrong.
    pub defects: Vec<String>,
}
/// What is really so at an inlet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InletTruth {
    /// Its number.
    pub inlet: u8,
    /// Flow, L/min, as it is.
    pub flow_l_min: f64,
    /// Pressure in the pipe there, Pa.
    pub pressure_pa: Option<f64>,
}
/// What is really so at a hole.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HoleTruth {
    /// Its pipe.
    pub pipe: u8,
    /// Its number.
    pub hole: u32,
    /// Flow into it, L/min.
    pub flow_l_min: f64,
    /// Pressure inside, Pa.
    pub pressure_pa: f64,
    /// It is closed or blocked.
    pub closed: bool,
    /// Extinction of smoke outside, 1/m.
    pub smoke_per_m: f64,
}

impl Site {
    fn pipe(&self, number: u8) -> Result<usize, Refusal> {
        match place::pipe(&self.design, number) {
            Some(i) => Ok(i),
            None => refuse(format!("there is no pipe {number}"), "name a pipe by the number of its inlet"),
        }
    }
    fn hole(&self, pipe: u8, hole: u32) -> Result<usize, Refusal> {
        let inlet = self.pipe(pipe)?;
        match place::opening(&self.design, inlet, hole) {
            Some(i) => Ok(i),
            None => refuse(
                format!("pipe {pipe} has no hole {hole}"),
                "name a hole by its number along the pipe, the end cap last",
            ),
        }
    }
    /// Holds smoke to a hole until `now` and a time.
    pub(crate) fn smoke(
        &mut self,
        now: Instant,
        (pipe, hole): (u8, u32),
        (obscuration, unit): (f64, ObscurationUnit),
        seconds: f64,
    ) -> Result<(), Refusal> {
        let opening = self.hole(pipe, hole)?;
        let extinction = Extinction::from_stated(obscuration, unit).filter(|e| e.0 > 0.0);
        let Some(Extinction(per_m)) = extinction else {
            return refuse(
                format!("{obscuration} {unit} is no smoke"),
                "give an obscuration above 0 (and under 100 %)",
            );
        };
        if !(seconds > 0.0 && seconds <= 3600.0) {
            return refuse(format!("{seconds} s is no time"), "give a time of up to 3600 s");
        }
        let density = self.air.network().opening_density(opening);
        self.air.smoke_mut().release(opening, per_m, density);
        self.releases.retain(|(o, _)| *o != opening);
        self.releases.push((opening, now + Duration::from_secs_f64(seconds)));
        Ok(())
    }
    /// Takes all smoke away.
    pub(crate) fn smoke_off(&mut self) {
        for (opening, _) in self.releases.drain(..) {
            self.air.smoke_mut().release(opening, 0.0, 1.0);
        }
    }
    /// Closes or opens a hole by hand.
    pub(crate) fn close(&mut self, pipe: u8, hole: u32, closed: bool) -> Result<(), Refusal> {
        let opening = self.hole(pipe, hole)?;
        self.closed[opening] = closed;
        let o = &mut self.works.pipework.openings[opening];
        // What a defect blocks, no hand opens.
        let spoilt = self.refitted
            && self.places.iter().any(|p| {
                p.openings.contains(&opening)
                    && matches!(
                        p.defect.kind,
                        DefectKind::HoleBlocked | DefectKind::HolesBlocked | DefectKind::CapBlocked
                    )
            });
        o.blocked = closed || spoilt || self.built.openings[opening].blocked;
        let blocked = o.blocked;
        self.air.network_mut().shut_opening(opening, blocked);
        Ok(())
    }
    /// Shuts or opens an inlet by hand.
    pub(crate) fn shut_inlet(&mut self, now: Instant, inlet: u8, shut: bool) -> Result<(), Refusal> {
        let Some(i) = self.design.inlets.iter().position(|i| i.number == inlet) else {
            return refuse(format!("there is no inlet {inlet}"), "name an inlet of the unit");
        };
        self.shut[i] = shut;
        self.rebuilt(now)
    }
    /// Takes a pipe off or puts it back.
    pub(crate) fn pipe_off(&mut self, now: Instant, pipe: u8, off: bool) -> Result<(), Refusal> {
        let i = self.pipe(pipe)?;
        self.off[i] = off;
        if !off {
            // Pushed home this time.
            self.places.retain(|p| {
                !(p.inlet == i && matches!(p.defect.kind, DefectKind::PipeOff | DefectKind::PipeHalfSeated))
            });
        }
        self.rebuilt(now)
    }
    /// Puts a defect right.
    pub(crate) fn repair(&mut self, now: Instant, name: &str) -> Result<(), Refusal> {
        let kind = match Defect::parse(name) {
            Ok(defect) => defect.kind,
            Err(e) => return refuse(e.to_string(), "name one of the defects of the catalogue"),
        };
        let before = self.places.len();
        self.places.retain(|p| p.defect.kind != kind);
        if self.places.len() == before {
            return refuse(format!("there is no {name} here"), "ask for the truth to see what is wrong");
        }
        self.rebuilt(now)
    }
    fn rebuilt(&mut self, now: Instant) -> Result<(), Refusal> {
        self.rebuild(now).or_else(|e| refuse(e, "put the pipework back as it was"))
    }
    /// When the sensor reaches each of `fractions` of its final value after smoke begins to stand at a hole, s, with the
    /// flows as they are now.
    pub(crate) fn arrivals(
        &self,
        pipe: u8,
        hole: u32,
        fractions: &[f64],
        longest_s: f64,
    ) -> Result<Vec<Option<f64>>, Refusal> {
        let opening = self.hole(pipe, hole)?;
        let (unit, laws) = (&self.works.unit, self.laws);
        let openings = self.pipework().openings.len();
        Ok(response(self.air.network(), openings, unit, laws, opening, fractions, longest_s))
    }
    /// What is really so.
    pub(crate) fn truth(&self) -> AirTruth {
        let (net, unit) = (self.air.network(), self.air.network().unit_density());
        let l_min = |kg_s: f64, density: f64| kg_s / density / M3_S_PER_L_MIN;
        let owners = self.design.openings_by_inlet();
        let hole = |pipe: u8, i: usize| {
            let o = &self.pipework().openings[i];
            HoleTruth {
                pipe,
                hole: self.design.openings[i].number,
                flow_l_min: l_min(net.opening_kg_s(i), unit),
                pressure_pa: net.node_pa(o.node),
                closed: o.blocked,
                smoke_per_m: self.air.smoke().released(i, net.opening_density(i)),
            }
        };
        AirTruth {
            mounted: self.mounted,
            fan: self.fan(),
            extinction_per_m: self.air.extinction(),
            inlets: self
                .design
                .inlets
                .iter()
                .enumerate()
                .map(|(i, inlet)| InletTruth {
                    inlet: inlet.number,
                    flow_l_min: l_min(net.inlet_kg_s(i), unit),
                    pressure_pa: self.works.joints[i].node.map(|n| net.node_pa(n)),
                })
                .collect(),
            holes: owners
                .iter()
                .zip(&self.design.inlets)
                .flat_map(|(own, inlet)| own.iter().map(|&i| hole(inlet.number, i)))
                .collect(),
            defects: self.defects().map(|d| d.to_string()).collect(),
        }
    }
}
