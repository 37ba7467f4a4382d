//! Smoke carried from hole to chamber: parcels that pass along the pipes in order, mixed at every junction by flow share.
//!
//! What is carried is extinction per density (m2/kg), which neither mixing nor expansion changes. Every length of pipe is a set of
//! queues, one for each class of [`spread`]; smoke-free pipes cost nothing. The chamber is stirred, the sensor lags in first
//! order, both exactly. Not here: settling, wall losses, coagulation; the air that leaves through a hole is lost.
use super::{
    network::{Conduit, Network},
    spread::{CLASSES, Passage, SHARES},
};
use std::collections::VecDeque;

/// Below this (m2/kg) there is no smoke: a ten-millionth of a per cent per metre.
const CLEAN: f64 = 1e-9;

/// One queue of parcels, (mass kg, extinction per density), the near end first.
#[derive(Clone, Debug, Default)]
struct Queue {
    parcels: VecDeque<(f64, f64)>,
    capacity: f64,
}
impl Queue {
    /// Lets `mass` in at one end and takes as much out at the other: gives the mean of what came out.
    fn pass(&mut self, mass: f64, entering: f64, towards_near: bool) -> f64 {
        let entering = if entering < CLEAN { 0.0 } else { entering };
        let last = if towards_near { self.parcels.back_mut() } else { self.parcels.front_mut() };
        match last {
            Some(parcel) if parcel.1 == entering => parcel.0 += mass,
            _ if towards_near => self.parcels.push_back((mass, entering)),
            _ => self.parcels.push_front((mass, entering)),
        }
        let (mut left, mut carried) = (mass, 0.0);
        while left > 0.0 {
            let end = if towards_near { self.parcels.front_mut() } else { self.parcels.back_mut() };
            let Some(parcel) = end else { break };
            if parcel.0 > left {
                parcel.0 -= left;
                carried += left * parcel.1;
                break;
            }
            left -= parcel.0;
            carried += parcel.0 * parcel.1;
            if towards_near {
                self.parcels.pop_front();
            } else {
                self.parcels.pop_back();
            }
        }
        carried / mass
    }
    /// Fits the queue to a new capacity, everything in proportion.
    fn resize(&mut self, capacity: f64) {
        let ratio = capacity / self.capacity;
        self.parcels.iter_mut().for_each(|p| p.0 *= ratio);
        self.capacity = capacity;
    }
    fn is_clean(&self) -> bool {
        self.parcels.iter().all(|p| p.1 == 0.0)
    }
}

/// The smoke in one length of pipe, or in an inlet's own passage.
#[derive(Clone, Debug)]
struct Tube {
    queues: Vec<Queue>,
    /// Flow that the capacities were made for, kg/s.
    made_for: f64,
}
impl Tube {
    fn new(conduit: &Conduit) -> Self {
        let n = if conduit.bore_m > 0.0 { CLASSES } else { 1 };
        let queue = |i: usize| {
            let capacity = conduit.mass * if n == 1 { 1.0 } else { SHARES[i] };
            Queue { parcels: VecDeque::from([(capacity, 0.0)]), capacity }
        };
        Self { queues: (0..n).map(queue).collect(), made_for: 0.0 }
    }
    /// `flow` (kg/s, its sign the direction) carries on for `dt`.
    fn pass(&mut self, conduit: &Conduit, flow: f64, dt: f64, entering: f64, diffusivity_m2_s: f64) -> f64 {
        let size = flow.abs();
        if self.queues.len() == 1 {
            return self.queues[0].pass(size * dt, entering, flow > 0.0);
        }
        if (size / self.made_for - 1.0).abs() > 0.01 || self.made_for == 0.0 {
            self.made_for = size;
            let times = Passage {
                reynolds: size * conduit.reynolds,
                speed_m_s: size * conduit.length_m / conduit.mass,
                bore_m: conduit.bore_m,
                length_m: conduit.length_m,
                diffusivity_m2_s,
            }
            .times();
            for ((queue, share), time) in self.queues.iter_mut().zip(SHARES).zip(times) {
                queue.resize(conduit.mass * share * time);
            }
        }
        let mut out = 0.0;
        for (queue, share) in self.queues.iter_mut().zip(SHARES) {
            out += share * queue.pass(size * share * dt, entering, flow > 0.0);
        }
        out
    }
}

/// All smoke of a site, from the holes to the sensor.
#[derive(Clone, Debug)]
pub(crate) struct Smoke {
    conduits: Vec<Conduit>,
    tubes: Vec<Option<Tube>>,
    /// Extinction per density outside each opening, m2/kg.
    outside: Vec<f64>,
    /// Branches in the order of their flow, and the direction it was made for.
    order: Vec<u32>,
    forward: Vec<bool>,
    inflow: Vec<f64>,
    carried: Vec<f64>,
    diffusivity_m2_s: f64,
    chamber_kg: f64,
    lag_s: f64,
    chamber: f64,
    sensor: f64,
    /// What a sensor at each inlet would see, each with the same lag as the unit's.
    inlets: Vec<f64>,
    active: bool,
}
impl Smoke {
    /// No smoke yet. `chamber_m3` is the volume from manifold to sensor, `lag_s` the sensor's own time constant.
    pub(crate) fn new(network: &Network, openings: usize, chamber_m3: f64, lag_s: f64, diffusivity_m2_s: f64) -> Self {
        let n = network.len();
        Self {
            conduits: (0..n).map(|i| network.conduit(i)).collect(),
            tubes: vec![None; n],
            outside: vec![0.0; openings],
            order: Vec::new(),
            forward: vec![true; n],
            inflow: vec![0.0; network.nodes()],
            carried: vec![0.0; network.nodes()],
            diffusivity_m2_s,
            chamber_kg: chamber_m3 * network.unit_density(),
            lag_s,
            chamber: 0.0,
            sensor: 0.0,
            inlets: vec![0.0; (0..n).filter(|&i| network.inlet_of(i).is_some()).count()],
            active: false,
        }
    }
    /// Takes over what was on its way in the first `segments` branches, what stands outside, and chamber and sensor.
    pub(crate) fn carry_over(&mut self, old: Self, segments: usize) {
        for (to, from) in self.tubes.iter_mut().zip(old.tubes).take(segments) {
            *to = from;
        }
        for (to, from) in self.outside.iter_mut().zip(old.outside) {
            *to = from;
        }
        for (to, from) in self.inlets.iter_mut().zip(old.inlets) {
            *to = from;
        }
        (self.chamber, self.sensor, self.active) = (old.chamber, old.sensor, old.active);
    }
    /// Smoke of this extinction (1/m; 0: none) stands outside an opening.
    pub(crate) fn release(&mut self, opening: usize, extinction_per_m: f64, density: f64) {
        if let Some(outside) = self.outside.get_mut(opening) {
            *outside = extinction_per_m / density;
            self.active |= *outside > 0.0;
        }
    }
    /// Extinction that stands outside an opening, 1/m.
    pub(crate) fn released(&self, opening: usize, density: f64) -> f64 {
        self.outside.get(opening).copied().unwrap_or(0.0) * density
    }
    /// True while there is smoke anywhere.
    pub(crate) const fn active(&self) -> bool {
        self.active
    }
    /// Extinction as the sensor sees it, 1/m.
    pub(crate) fn extinction(&self, density: f64) -> f64 {
        self.sensor * density
    }
    /// Extinction as a sensor at each inlet sees it, 1/m.
    pub(crate) fn at_inlets(&self, density: f64) -> Vec<f64> {
        self.inlets.iter().map(|e| e * density).collect()
    }
    /// Puts the branches in an order in which each comes after those that feed it.
    fn sort(&mut self, network: &Network) {
        let n = network.len();
        let mut feeders = vec![0u32; network.nodes()];
        let mut leaving: Vec<Vec<u32>> = vec![Vec::new(); network.nodes()];
        let mut ready: Vec<u32> = Vec::new();
        for i in 0..n {
            self.forward[i] = network.flow(i) >= 0.0;
            let (from, to) = network.ends(i);
            if let Some(to) = to {
                feeders[to] += 1;
            }
            match from {
                Some(from) => leaving[from].push(i as u32),
                None => ready.push(i as u32),
            }
        }
        self.order.clear();
        let mut done = vec![false; n];
        // A node that nothing feeds (all at rest) lets its branches go at once.
        ready.extend((0..network.nodes()).filter(|&k| feeders[k] == 0).flat_map(|k| leaving[k].clone()));
        while let Some(i) = ready.pop() {
            if std::mem::replace(&mut done[i as usize], true) {
                continue;
            }
            self.order.push(i);
            if let (_, Some(to)) = network.ends(i as usize) {
                feeders[to] -= 1;
                if feeders[to] == 0 {
                    ready.extend(&leaving[to]);
                }
            }
        }
        // A swirl (only while flows are still changing) is taken in any order.
        self.order.extend((0..n as u32).filter(|&i| !done[i as usize]));
    }
    /// Carries on for `dt` with the flows as they are.
    pub(crate) fn step(&mut self, network: &Network, dt: f64) {
        if !self.active || dt <= 0.0 {
            return;
        }
        let n = network.len();
        if self.order.len() != n || (0..n).any(|i| (network.flow(i) >= 0.0) != self.forward[i]) {
            self.sort(network);
        }
        self.inflow.fill(0.0);
        self.carried.fill(0.0);
        for i in 0..n {
            if let (_, Some(to)) = network.ends(i) {
                self.inflow[to] += network.flow(i).abs();
            }
        }
        let first_opening = network.opening_branch(0);
        let mut anywhere = self.outside.iter().any(|&o| o > 0.0);
        for &i in &self.order {
            let i = i as usize;
            let flow = network.flow(i);
            let (from, to) = network.ends(i);
            if flow.abs() < 1e-12 {
                anywhere |= self.tubes[i].is_some();
                continue;
            }
            let entering = match from {
                Some(from) if self.inflow[from] > 0.0 => self.carried[from] / self.inflow[from],
                Some(_) => 0.0,
                None => i.checked_sub(first_opening).and_then(|o| self.outside.get(o)).copied().unwrap_or(0.0),
            };
            let conduit = &self.conduits[i];
            let leaving = if conduit.mass > 0.0 {
                if self.tubes[i].is_none() && entering > CLEAN {
                    self.tubes[i] = Some(Tube::new(conduit));
                }
                match &mut self.tubes[i] {
                    Some(tube) => {
                        let out = tube.pass(conduit, flow, dt, entering, self.diffusivity_m2_s);
                        if entering <= CLEAN && out <= CLEAN && tube.queues.iter().all(Queue::is_clean) {
                            self.tubes[i] = None;
                        }
                        anywhere = true;
                        out
                    }
                    None => 0.0,
                }
            } else {
                entering
            };
            if let Some(inlet) = network.inlet_of(i) {
                let keep = if self.lag_s > 0.0 { libm::exp(-dt / self.lag_s) } else { 0.0 };
                let seen = if flow > 0.0 { leaving } else { 0.0 };
                self.inlets[inlet] = seen + (self.inlets[inlet] - seen) * keep;
            }
            if let Some(to) = to {
                self.carried[to] += flow.abs() * leaving;
            }
        }
        let manifold = network.nodes() - 1;
        let entering = if self.inflow[manifold] > 0.0 { self.carried[manifold] / self.inflow[manifold] } else { 0.0 };
        self.sense(entering, network.unit_kg_s().max(0.0), dt);
        if !anywhere && self.chamber < CLEAN && self.sensor < CLEAN {
            self.inlets.fill(0.0);
            (self.chamber, self.sensor, self.active) = (0.0, 0.0, false);
        }
    }
    /// Chamber (stirred) and sensor (first order) over `dt` with a constant inflow: the exact solution of both in series.
    fn sense(&mut self, entering: f64, flow: f64, dt: f64) {
        let tank_s = if flow > 0.0 { self.chamber_kg / flow } else { f64::INFINITY };
        let keep = |t: f64| if t > 0.0 { libm::exp(-dt / t) } else { 0.0 };
        let (a, b) = (keep(tank_s), keep(self.lag_s));
        let away = self.chamber - entering;
        // The tank decays towards what enters, away * exp(-t/T1); the sensor follows it with T2.
        let cross = if tank_s.is_infinite() {
            1.0 - b
        } else if (tank_s - self.lag_s).abs() > 1e-9 * tank_s.max(self.lag_s) {
            tank_s * (a - b) / (tank_s - self.lag_s)
        } else if tank_s > 0.0 {
            dt / tank_s * a
        } else {
            0.0
        };
        self.sensor = entering + (self.sensor - entering) * b + away * cross;
        self.chamber = entering + away * a;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn conduit(bore_m: f64) -> Conduit {
        let area = core::f64::consts::PI / 4.0 * 0.021 * 0.021;
        Conduit {
            mass: 1.2 * area * 10.0,
            bore_m,
            length_m: 10.0,
            reynolds: 0.021 / (area * 1.8e-5),
            density: 1.2,
            viscosity: 1.8e-5,
        }
    }
    #[test]
    fn plug_flow_delays_by_volume_over_flow() {
        // One class: the inlet's passage.
        let c = conduit(0.0);
        let mut tube = Tube::new(&c);
        let flow = 1.2 * 5e-4;
        let delay = c.mass / flow;
        let dt = delay / 1000.0;
        let first = (0..3000).find(|_| tube.pass(&c, flow, dt, 1.0, 1e-10) > 0.5);
        let got = first.map(|k| f64::from(k) * dt).unwrap();
        assert!((got / delay - 1.0).abs() < 2e-3, "{got} for {delay}");
    }
    #[test]
    fn laminar_pipe_answers_a_step_as_its_profile_says() {
        // Pure convection through a parabolic profile: the outflow's share at t is 1 - (T/2t)^2 from t = T/2 on (Levenspiel, Chemical
        // Reaction Engineering, chapter 15).
        let c = conduit(0.021);
        let mut tube = Tube::new(&c);
        let flow = 600.0 / c.reynolds;
        let mean = c.mass / flow;
        let dt = mean / 2000.0;
        let mut worst = 0.0f64;
        let mut first = None;
        for k in 1..=6000 {
            let out = tube.pass(&c, flow, dt, 1.0, 1e-10);
            let t = f64::from(k) * dt;
            if out > 1e-3 && first.is_none() {
                first = Some(t);
            }
            let x = mean / (2.0 * t);
            let want = if x < 1.0 { 1.0 - x * x } else { 0.0 };
            worst = worst.max((out - want).abs());
        }
        assert!((first.unwrap() / mean - 0.5).abs() < 0.01);
        // Eight classes make a staircase of it: the tallest stair is 0.2.
        assert!(worst < 0.2, "{worst}");
    }
    #[test]
    fn nothing_is_lost_on_the_way() {
        let c = conduit(0.021);
        for flow in [3e-5, 3e-4, 2e-3] {
            let mut tube = Tube::new(&c);
            let dt = 0.1;
            let mut out = 0.0;
            for k in 0..200_000 {
                out += tube.pass(&c, flow, dt, if k < 100 { 0.3 } else { 0.0 }, 1e-10);
            }
            assert!((out / 30.0 - 1.0).abs() < 1e-9, "{flow}: {out}");
            assert!(tube.queues.iter().all(Queue::is_clean));
        }
    }
    #[test]
    fn chamber_and_sensor_lag_in_first_order() {
        // Step response of two first-order lags in series: 1 - (T1 e^(-t/T1) - T2 e^(-t/T2)) / (T1 - T2) (Ogata, Modern Control
        // Engineering, second-order systems); with no chamber volume 1 - e^(-t/T2).
        let p = crate::demo::straight_pipes(
            &[2],
            1.0,
            3e-3,
            crate::models::invented::air_path(crate::scenario::Which::Replacement),
        );
        let joints = [crate::physics::network::Joint { node: Some(0), ..Default::default() }];
        let laws = crate::physics::Laws::default();
        let network = Network::new(&p, &joints, &[], &p.unit, laws).unwrap();
        for (t1, t2) in [(0.0, 3.0), (4.0, 3.0), (3.0, 3.0), (2.0, 0.0)] {
            let mut smoke = Smoke::new(&network, 2, 1e-3, t2, 1e-10);
            let flow = if t1 > 0.0 { smoke.chamber_kg / t1 } else { 1.0 };
            smoke.chamber_kg *= f64::from(u8::from(t1 > 0.0));
            let mut t = 0.0;
            for dt in [0.1, 0.4, 1.5, 2.0, 5.0] {
                smoke.sense(1.0, flow, dt);
                t += dt;
                let e = |tau: f64| if tau > 0.0 { libm::exp(-t / tau) } else { 0.0 };
                let want =
                    if t1 == t2 { 1.0 - (1.0 + t / t1) * e(t1) } else { 1.0 - (t1 * e(t1) - t2 * e(t2)) / (t1 - t2) };
                assert!((smoke.sensor - want).abs() < 1e-9, "{t1} {t2} {t}: {} for {want}", smoke.sensor);
            }
        }
    }
    #[test]
    fn reversed_flow_brings_it_back() {
        let c = conduit(0.0);
        let mut tube = Tube::new(&c);
        for _ in 0..100 {
            tube.pass(&c, 1e-4, 0.1, 1.0, 1e-10);
        }
        let back: f64 = (0..200).map(|_| tube.pass(&c, -1e-4, 0.1, 0.0, 1e-10)).sum();
        assert!((back - 100.0).abs() < 1e-9);
    }
}
