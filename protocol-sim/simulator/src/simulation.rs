//! One simulated job site: the units, the air, and the two ways in (the serial port and the site control).
//!
//! A pure machine: it is told the time and given bytes, and says what it sends and when it next wants to be woken.
use crate::{
    DefectKind, Scenario,
    defect::DefectError,
    device::{Device, Fitted, outputs::bit, store::Store},
    front::Reached,
    models::invented::site_settings,
    physics::airside::AirSide,
    rng::Stream,
    scenario::Which,
    sensors::{Sensors, Truth, at_reference},
    site::{
        Site,
        control::{AirTruth, AtHand, Command, Refusal, Shown, refuse},
        unit_seed,
    },
};
use plumeline_base::Instant;
use serde::Serialize;

/// Why a scenario can't be simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScenarioError {
    /// A defect has no place in this pipework.
    #[error(transparent)]
    Defect(#[from] DefectError),
    /// The pipework's data contradict themselves.
    #[error("the pipework can't be simulated: {0}")]
    Pipework(String),
    /// The stored settings are not what this simulator wrote.
    #[error("the stored settings can't be used: {0}; remove the store to start from units as delivered")]
    Store(&'static str),
    /// A unit can't be made with what it is to hold.
    #[error("a unit can't be made: {0}")]
    Unit(String),
}

/// First bytes of what [`Simulation::store`] gives.
const STORE_MAGIC: &[u8; 8] = b"plumsim1";

/// A unit with its supplies.
#[derive(Debug)]
struct Unit {
    which: Which,
    reached: Reached,
    mains: bool,
    battery: bool,
    /// Dead: no power ever brings it up.
    dead: bool,
    /// While on the bench: its air, and the speed of its curve at 100 %.
    bench: Option<(AirSide, f64)>,
}

/// What the panel shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Panel {
    /// The zone is isolated.
    pub isolated: bool,
    /// Each of the panel's inputs, by the output of the unit that it is wired to, output 1 first.
    pub inputs: Vec<bool>,
    /// Those that came up since the panel was last looked at, whatever they show now.
    pub came_up: Vec<bool>,
    /// Which of them is the fault's, which also shows a unit without power.
    pub fault_wire: u8,
    /// A fault.
    pub fault: bool,
    /// Alarms that reached the panel while the zone was not isolated.
    pub alarms_not_isolated: u32,
}

/// A simulated site with its units.
#[derive(Debug)]
pub struct Simulation {
    now: Instant,
    site: Site,
    units: [Unit; 2],
    cable: Which,
    isolated: bool,
    alarms_not_isolated: u32,
    shown: u32,
    /// Its inputs at the last change.
    seen: u32,
    /// Inputs of the panel that came up since it was last looked at.
    came_up: u32,
    /// Wires of the panel with the unit's inputs that follow them.
    echoes: Vec<(u8, u8)>,
    /// Output of the replacement that the panel's fault input is wired to.
    fault_wire: u8,
    /// A logger on the smoke signal: when, s, and what was told, %/m, once a second.
    logger: Option<Vec<(f64, f64)>>,
}

impl Simulation {
    /// Builds the site as the scenario says; the unit on the wall has been running for long, its air is steady and (the
    /// outgoing one) it has a baseline. The unit that is not on the wall is on the bench without power.
    ///
    /// # Errors
    /// When the scenario contradicts itself; the error says where.
    pub fn new(scenario: Scenario, now: Instant) -> Result<Self, ScenarioError> {
        let mut stores = [Store::default(), Store::default()];
        if let Some(bytes) = &scenario.store {
            let bad = ScenarioError::Store("it is damaged or of another kind");
            let mut rest = bytes.strip_prefix(STORE_MAGIC).ok_or(bad.clone())?;
            for store in &mut stores {
                *store = Store::load(&mut rest).ok_or(bad.clone())?;
            }
        }
        let mut site = Site::new(&scenario, now)?;
        let inlets = site.design().inlets.len() as u8;
        let used: Vec<bool> = site.design().inlets.iter().map(|i| i.node.is_some()).collect();
        let mut unit = |which: Which, store: Store| -> Result<Unit, ScenarioError> {
            let model = scenario.model(which).clone();
            let seed = unit_seed(scenario.seed, which);
            let sensors = Sensors::new(scenario.sensors, Stream::new(seed, 3), usize::from(inlets), &model);
            let settings = match which {
                Which::Outgoing => site_settings(&model, inlets, &used),
                Which::Replacement => scenario.in_service.clone().unwrap_or_else(|| model.factory_settings(inlets)),
            };
            let new = which == Which::Replacement;
            let fitted = Fitted {
                serial: format!("{}{:06}", model.serial, Stream::new(seed, 4).word() % 1_000_000),
                model: model.clone(),
                inlets,
                sensor_per_inlet: new && scenario.sensor_per_inlet,
                seed,
                fan_factor: site.suffers(DefectKind::FanSettingWrong).filter(|_| new).unwrap_or(1.0),
                lies: if new { scenario.lies.clone() } else { Vec::new() },
                loses: site.suffers(DefectKind::SettingLost).filter(|_| new).map(|s| s as usize),
            };
            let fresh = store.read().is_none();
            let device = Device::new(fitted, sensors, store, &settings).map_err(ScenarioError::Unit)?;
            let mut unit = Unit {
                which,
                reached: Reached::new(device),
                mains: false,
                battery: false,
                dead: which == Which::Outgoing && !scenario.outgoing_alive,
                bench: None,
            };
            if site.mounted() != which {
                unit.bench = Some(site.bench(which, now).map_err(ScenarioError::Pipework)?);
                return Ok(unit);
            }
            (unit.mains, unit.battery) = (true, true);
            if !unit.dead {
                unit.reached.device.running_already(now);
                site.drive(unit.reached.device.running_speed(), model.fan.spin_s);
                if !site.settle() {
                    return Err(ScenarioError::Pipework("the flows do not come to rest".into()));
                }
                if fresh && (which == Which::Outgoing || scenario.in_service.is_some()) {
                    unit.reached.device.adopt_baseline(&truth_of(&site, &unit));
                }
            }
            Ok(unit)
        };
        let [a, b] = stores;
        let units = [unit(Which::Outgoing, a)?, unit(Which::Replacement, b)?];
        let cable = site.mounted();
        Ok(Self {
            now,
            site,
            units,
            cable,
            isolated: false,
            alarms_not_isolated: 0,
            shown: 0,
            seen: 0,
            came_up: 0,
            echoes: Vec::new(),
            fault_wire: scenario.fault_wire,
            logger: None,
        })
    }

    /// Everything goes on to `now`. An earlier instant changes nothing.
    fn advance(&mut self, now: Instant) {
        while let Some(next) = self.units.iter().filter_map(|u| u.reached.next_sensing()).min().filter(|t| *t <= now) {
            let next = next.max(self.now);
            self.now = next;
            self.site.advance(next);
            for unit in &mut self.units {
                if unit.reached.next_sensing().is_none_or(|t| t > next) {
                    continue;
                }
                if let Some((air, _)) = &mut unit.bench {
                    air.advance(next);
                }
                let truth = truth_of(&self.site, unit);
                unit.reached.handle_timeout(next, &truth);
                drive(&mut self.site, unit, next);
            }
            self.watch_panel();
            self.store_smoke();
        }
        self.now = self.now.max(now);
        self.site.advance(self.now);
    }
    /// What the unit tells of smoke, once a second, as far as it tells any.
    fn store_smoke(&mut self) {
        let now = self.now;
        let due = |rows: &Vec<(f64, f64)>| rows.last().is_none_or(|(at, _)| now.as_secs_f64() >= at.floor() + 1.0);
        if !self.logger.as_ref().is_some_and(due) {
            return;
        }
        let smoke = self.shown(now).ok().map(|shown| shown.smoke_percent_per_m.iter().copied().fold(0.0, f64::max));
        if let (Some(rows), Some(smoke)) = (&mut self.logger, smoke) {
            rows.push((now.as_secs_f64(), smoke));
        }
    }
    fn unit(&mut self, which: Which) -> &mut Unit {
        &mut self.units[usize::from(which == Which::Replacement)]
    }
    /// Bytes arrive at the serial port of the connected unit at `now`.
    pub fn handle_bytes(&mut self, now: Instant, bytes: &[u8]) {
        self.handle_bytes_of(self.cable, now, bytes);
    }
    /// Bytes arrive at `now` at the serial port of this unit, which has a line of its own.
    pub fn handle_bytes_of(&mut self, which: Which, now: Instant, bytes: &[u8]) {
        self.advance(now);
        let now = self.now;
        self.unit(which).reached.handle_bytes(now, bytes);
        let unit = &mut self.units[usize::from(which == Which::Replacement)];
        drive(&mut self.site, unit, now);
        self.watch_panel();
    }
    /// The next bytes that this unit has sent by now on a line of its own, until there are none.
    pub fn poll_transmit_of(&mut self, which: Which) -> Option<Vec<u8>> {
        let now = self.now;
        self.unit(which).reached.poll_transmit(now)
    }
    /// The time is `now`; does what has become due.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.advance(now);
    }
    /// The next bytes that the connected unit has sent by now, until there are none.
    pub fn poll_transmit(&mut self) -> Option<Vec<u8>> {
        let now = self.now;
        // What an unconnected unit says goes nowhere.
        for unit in self.units.iter_mut().filter(|u| u.which != self.cable) {
            while unit.reached.poll_transmit(now).is_some() {}
        }
        let cable = self.cable;
        self.unit(cable).reached.poll_transmit(now)
    }
    /// When it next wants [`Self::handle_timeout`]; `None`: never, unless something arrives.
    pub fn poll_timeout(&self) -> Option<Instant> {
        self.units.iter().filter_map(|u| u.reached.next_timeout()).min()
    }
    /// What the units remember without power, to be kept and given back as [`Scenario::store`].
    pub fn store(&self) -> Vec<u8> {
        let mut bytes = STORE_MAGIC.to_vec();
        self.units.iter().for_each(|u| u.reached.device.store().save(&mut bytes));
        bytes
    }
    /// Grows whenever [`Self::store`] changes.
    pub fn store_generation(&self) -> u64 {
        self.units.iter().map(|u| u.reached.device.generation()).sum()
    }

    /// A line (JSON, one object) arrives on the site control at `now`; gives the reply line, without its end.
    pub fn handle_control(&mut self, now: Instant, line: &str) -> String {
        let outcome = match serde_json::from_str::<Command>(line) {
            Ok(command) => self.control(now, command),
            Err(e) => {
                self.advance(now);
                refuse(format!("the line is not a command: {e}"), "see the list of commands in docs/simulator.md")
            }
        };
        let at_s = self.now.as_secs_f64();
        let value = match outcome {
            Ok(told) => {
                let mut v = serde_json::json!({"ok": true, "at_s": at_s});
                match told {
                    Told::Done => {}
                    Told::Panel(p) => v["panel"] = serde_json::json!(p),
                    Told::Display(d) => v["display"] = serde_json::json!(d),
                    Told::Label(l) => v["label"] = serde_json::json!(l),
                    Told::Logger(rows) => v["logger"] = serde_json::json!(rows),
                    Told::Truth(t) => v["truth"] = serde_json::json!(t),
                }
                v
            }
            Err(r) => serde_json::json!({"ok": false, "at_s": at_s, "cause": r.cause, "remedy": r.remedy}),
        };
        value.to_string()
    }
    /// What people do, at `now`.
    ///
    /// # Errors
    /// When it can't be done, with the remedy.
    pub fn control(&mut self, now: Instant, command: Command) -> Result<Told, Refusal> {
        self.advance(now);
        let now = self.now;
        match command {
            Command::Smoke { pipe, hole, obscuration, unit, seconds } => {
                self.site.smoke(now, (pipe, hole), (obscuration, unit), seconds)?;
            }
            Command::SmokeOff => self.site.smoke_off(),
            Command::Close { pipe, hole } => self.site.close(pipe, hole, true)?,
            Command::Open { pipe, hole } => self.site.close(pipe, hole, false)?,
            Command::Inlet { inlet, shut } => self.site.shut_inlet(now, inlet, shut)?,
            Command::PipeOff { pipe } => self.site.pipe_off(now, pipe, true)?,
            Command::PipeOn { pipe } => self.site.pipe_off(now, pipe, false)?,
            Command::Swap => self.swap(now)?,
            Command::Cable { unit } => self.cable = unit,
            Command::Power { unit, mains, battery } => {
                let which = unit.unwrap_or(self.site.mounted());
                let unit = &mut self.units[usize::from(which == Which::Replacement)];
                unit.mains = mains.unwrap_or(unit.mains);
                unit.battery = battery.unwrap_or(unit.battery);
                switch(&mut self.site, unit, now);
            }
            Command::Cover { open } => self.site.cover_open = open,
            Command::Input { number, on } => {
                self.switch_input(number, on)?;
            }
            Command::Keypad { unit, key, value } => {
                let which = unit.unwrap_or(self.site.mounted());
                let device = &mut self.unit(which).reached.device;
                if !device.powered() {
                    return refuse("the unit has no power", "give it power first");
                }
                if let Err(why) = device.keyed(now, &key, &value) {
                    return refuse(why, "name a setting that the unit has, and a value that it takes");
                }
            }
            Command::Echo { wire, input } => {
                self.switch_input(input, false)?;
                self.echoes.retain(|(_, i)| *i != input);
                self.echoes.push((wire, input));
            }
            Command::Isolate => self.isolated = true,
            Command::Restore => {
                self.isolated = false;
                self.shown = 0;
            }
            Command::Repair { defect } => {
                self.site.repair(now, &defect)?;
                let loses = self.site.suffers(DefectKind::SettingLost).map(|s| s as usize);
                let fan_factor = self.site.suffers(DefectKind::FanSettingWrong).unwrap_or(1.0);
                self.unit(Which::Replacement).reached.device.mended(loses, fan_factor);
            }
            Command::Panel => {
                self.watch_panel();
                let panel = self.panel();
                self.came_up = 0;
                return Ok(Told::Panel(panel));
            }
            Command::Display => return self.shown(now).map(Told::Display),
            Command::Label => {
                let unit = self.cable;
                return Ok(Told::Label(Box::new(self.at_hand()?.at_hand(unit))));
            }
            Command::Hand { deed, output } => {
                if let Err(why) = self.at_hand()?.by_hand(now, deed, output) {
                    return refuse(why, "try again later, or do something else first");
                }
            }
            Command::Logger => return Ok(Told::Logger(self.logger.get_or_insert_default().clone())),
            Command::Truth => return Ok(Told::Truth(self.site.truth())),
        }
        self.watch_panel();
        Ok(Told::Done)
    }
    fn shown(&mut self, now: Instant) -> Result<Shown, Refusal> {
        match self.at_hand()?.shown(now) {
            Some(shown) => Ok(shown),
            None => refuse("the display shows nothing at this moment", "look again"),
        }
    }
    /// The unit that somebody stands at.
    fn at_hand(&mut self) -> Result<&mut Device, Refusal> {
        let device = &mut self.unit(self.cable).reached.device;
        if device.powered() { Ok(device) } else { refuse("the unit has no power", "give it power first") }
    }
    fn switch_input(&mut self, number: u8, on: bool) -> Result<(), Refusal> {
        if number == 0 || number > self.mounted().reached.device.model().inputs {
            return refuse(format!("there is no input {number}"), "the unit's hello says how many inputs it has");
        }
        let bit = 1 << (number - 1);
        self.site.inputs = if on { self.site.inputs | bit } else { self.site.inputs & !bit };
        Ok(())
    }
    fn swap(&mut self, now: Instant) -> Result<(), Refusal> {
        if self.site.mounted() == Which::Replacement {
            return refuse("the replacement is on the wall already", "nothing is left to swap");
        }
        let [out, new] = &mut self.units;
        for unit in [&mut *out, &mut *new] {
            (unit.mains, unit.battery) = (false, false);
            switch(&mut self.site, unit, now);
        }
        let problem = |e: String| Refusal { cause: e, remedy: "the pipework of the scenario must be put right" };
        out.bench = Some(self.site.bench(Which::Outgoing, now).map_err(problem)?);
        self.site.swap(now).map_err(problem)?;
        new.bench = None;
        (new.mains, new.battery) = (true, true);
        switch(&mut self.site, new, now);
        self.cable = Which::Replacement;
        self.watch_panel();
        self.came_up = 0;
        Ok(())
    }
    /// What the panel shows now.
    pub fn panel(&self) -> Panel {
        let inputs = self.panel_inputs();
        let wires = self.units.iter().map(|u| u.reached.device.model().outputs.len()).max().unwrap_or_default();
        Panel {
            isolated: self.isolated,
            inputs: (0..wires).map(|n| inputs & 1 << n != 0).collect(),
            came_up: (0..wires).map(|n| self.came_up & 1 << n != 0).collect(),
            fault_wire: self.fault_wire(),
            fault: inputs & bit(self.fault_wire()) != 0,
            alarms_not_isolated: self.alarms_not_isolated,
        }
    }
    /// The unit on the wall.
    fn mounted(&self) -> &Unit {
        &self.units[usize::from(self.site.mounted() == Which::Replacement)]
    }
    /// The output that the panel's fault input is wired to.
    fn fault_wire(&self) -> u8 {
        if self.site.mounted() == Which::Replacement { self.fault_wire } else { 1 }
    }
    /// The panel's inputs; bit 0 is wire 1. Wires go to the terminals of their own number unless two were crossed.
    fn panel_inputs(&self) -> u32 {
        let unit = self.mounted();
        if !unit.reached.device.powered() {
            return bit(self.fault_wire());
        }
        let operated = unit.reached.device.operated();
        match self.site.suffers(DefectKind::WiresCrossed).filter(|_| unit.which == Which::Replacement) {
            Some(first) => {
                let (a, b) = (1u32 << (first as u32 - 1).min(30), 1u32 << (first as u32).min(31));
                let (has_a, has_b) = (operated & a != 0, operated & b != 0);
                operated & !(a | b) | if has_a { b } else { 0 } | if has_b { a } else { 0 }
            }
            None => operated,
        }
    }
    /// Counts alarms (any wire but the fault's) that come up while the zone is not isolated.
    fn watch_panel(&mut self) {
        let inputs = self.panel_inputs();
        for (wire, input) in self.echoes.clone() {
            let on = inputs.checked_shr(u32::from(wire.saturating_sub(1))).unwrap_or(0) & 1 != 0;
            // Only inputs that the unit has are ever wired.
            let _ = self.switch_input(input, on);
        }
        let alarms = inputs & !bit(self.fault_wire());
        if !self.isolated {
            self.alarms_not_isolated += (alarms & !self.shown).count_ones();
        }
        self.came_up |= inputs & !self.seen;
        (self.shown, self.seen) = (alarms, inputs);
    }
    /// When the sensor reaches each of `fractions` (rising) of its final value after smoke begins to stand at a hole, s, with
    /// the flows as they are now; `None` where it does not within `longest_s`. For tests and campaigns.
    ///
    /// # Errors
    /// When there is no such hole.
    pub fn arrivals(
        &self,
        pipe: u8,
        hole: u32,
        fractions: &[f64],
        longest_s: f64,
    ) -> Result<Vec<Option<f64>>, Refusal> {
        self.site.arrivals(pipe, hole, fractions, longest_s)
    }
    /// The settings image that a unit would start with if its power went now; for tests.
    pub fn settings_image(&self, which: Which) -> Option<Vec<u8>> {
        let unit = self.units.iter().find(|u| u.which == which)?;
        unit.reached.device.store().read().map(|memory| memory.image)
    }
    /// What is really so in the air, for tests and campaigns.
    pub fn truth(&self) -> AirTruth {
        self.site.truth()
    }
}

/// What a command tells.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// It is done.
    Done,
    /// What the panel shows.
    Panel(Panel),
    /// What the unit shows that somebody stands at.
    Display(Shown),
    /// What its label says, and which settings it shows.
    Label(Box<AtHand>),
    /// What a logger stored: s, and %/m.
    Logger(Vec<(f64, f64)>),
    /// What is really so.
    Truth(AirTruth),
}

/// The truth at a unit, for its sensors.
fn truth_of(site: &Site, unit: &Unit) -> Truth {
    let mounted = site.mounted() == unit.which;
    let (air, fan) = match &unit.bench {
        Some((air, speed)) => (air, air.network().speed() / speed),
        None => (site.air(), site.fan()),
    };
    let network = air.network();
    let at = &site.design().air;
    let density = network.unit_density();
    let flow = |i: usize| {
        let kg_s = network.inlet_kg_s(i);
        match unit.reached.device.model().flow_reference {
            Some(reference) => at_reference(kg_s, density, (at.temperature_c, at.pressure_pa), reference),
            None => kg_s / density,
        }
    };
    Truth {
        flow_m3_s: (0..site.design().inlets.len()).map(flow).collect(),
        extinction_per_m: air.extinction(),
        inlet_extinction_per_m: if unit.reached.device.sensor_per_inlet() {
            air.inlet_extinctions()
        } else {
            Vec::new()
        },
        fan,
        temperature_c: at.temperature_c,
        mains: unit.mains,
        battery: unit.battery,
        inputs: if mounted { site.inputs } else { 0 },
        cover_open: mounted && site.cover_open,
    }
}
/// The fan follows the firmware.
fn drive(site: &mut Site, unit: &mut Unit, now: Instant) {
    let (share, spin_s) = (unit.reached.device.fan_target(now), unit.reached.device.model().fan.spin_s);
    match &mut unit.bench {
        Some((air, speed)) => air.network_mut().set_speed(share * *speed, spin_s),
        None if site.mounted() == unit.which => site.drive(share, spin_s),
        None => {}
    }
}
/// The firmware follows the supplies.
fn switch(site: &mut Site, unit: &mut Unit, now: Instant) {
    if (unit.mains || unit.battery) && !unit.dead {
        unit.reached.power_up(now);
    } else {
        unit.reached.power_down();
    }
    drive(site, unit, now);
}
