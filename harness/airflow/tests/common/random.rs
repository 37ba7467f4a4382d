//! Random pipework: sane, odd and absurd. A small generator of its own, so that a seed gives the same network for ever.
use super::*;

/// SplitMix64 (Steele, Lea, Flood 2014).
pub struct Dice(pub u64);
impl Dice {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / 9_007_199_254_740_992.0
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// Even in the logarithm.
    pub fn scale(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n.max(1) as u64) as usize
    }
    pub fn one_in(&mut self, n: u64) -> bool {
        self.bits().is_multiple_of(n)
    }
}

/// How far from usual a network may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Trees as they are built, all rooms alike, a falling fan curve: nothing flows backward.
    Plain,
    /// Trees and rings, rooms and heights and temperatures that differ, starved and blocked holes, open ends, drop tubes.
    Odd,
    /// Anything in range, and things that are not.
    Absurd,
}

pub fn network(seed: u64, kind: Kind) -> Pipework {
    let d = &mut Dice(seed);
    let mut p = empty();
    let odd = kind != Kind::Plain;
    for number in 1..=1 + d.below(if odd { 8 } else { 4 }) {
        if odd && d.one_in(8) {
            p.inlets.push(inlet(number as u8, None));
            continue;
        }
        grow(d, &mut p, number as u8, kind);
    }
    if odd {
        rings(d, &mut p);
        surroundings(d, &mut p);
        drive(d, &mut p);
    }
    if kind == Kind::Absurd {
        for _ in 0..=d.below(2) {
            absurdity(d, &mut p);
        }
    }
    p
}

/// A pipe with branches.
fn grow(d: &mut Dice, p: &mut Pipework, number: u8, kind: Kind) {
    let root = node(p);
    p.inlets.push(inlet(number, Some(root)));
    let bore = [0.021, 0.021, 0.021, 0.0157, 0.027][d.below(5)];
    let mut own = vec![root];
    let size = if d.one_in(20) { 100 } else { 1 + d.below(25) };
    for i in 0..size {
        let branch = i > 1 && d.one_in(8);
        let near = if branch { own[d.below(own.len())] } else { own[own.len() - 1] };
        let far = node(p);
        let length = d.scale(0.1, 20.0);
        let mut s = segment(near, far, length);
        s.bore_m = bore;
        s.roughness_m = [0.0, 1.5e-6, 1e-5, 1e-4][d.below(4)];
        s.minor_k = if d.one_in(2) { d.between(0.0, 3.0) } else { 0.0 };
        if kind != Kind::Plain && d.one_in(10) {
            s.kind = SegmentKind::Capillary;
            s.bore_m = d.between(0.006, 0.012);
        }
        p.segments.push(s);
        own.push(far);
        if i + 1 == size || !d.one_in(6) {
            let mut o = hole(far, i as u32 + 1, d.between(0.001, 0.006));
            o.discharge = d.between(0.55, 0.85);
            if i + 1 == size {
                o.kind = OpeningKind::EndCap;
            }
            if kind != Kind::Plain {
                o.blocked = d.one_in(12);
                if d.one_in(30) {
                    o.diameter_m = bore;
                    o.kind = OpeningKind::OpenEnd;
                }
                if d.one_in(30) {
                    o.diameter_m = 0.0;
                }
            }
            p.openings.push(o);
        }
    }
}

fn rings(d: &mut Dice, p: &mut Pipework) {
    if p.nodes.len() < 3 || !d.one_in(3) {
        return;
    }
    for _ in 0..=d.below(4) {
        let (a, b) = (d.below(p.nodes.len()) as u32, d.below(p.nodes.len()) as u32);
        if a != b {
            p.segments.push(segment(a, b, d.scale(0.2, 15.0)));
        }
    }
}

fn surroundings(d: &mut Dice, p: &mut Pipework) {
    p.air.temperature_c = d.between(-30.0, 50.0);
    p.air.pressure_pa = d.between(7e4, 1.05e5);
    if d.one_in(3) {
        for n in &mut p.nodes {
            n.elevation_m = d.between(-10.0, 10.0);
        }
    }
    if d.one_in(4) {
        for s in &mut p.segments {
            s.air_temperature_c = d.one_in(2).then(|| d.between(-30.0, 45.0));
        }
    }
    if d.one_in(3) {
        for o in &mut p.openings {
            o.outside_pa = if d.one_in(10) { d.between(-200.0, 100.0) } else { d.between(-10.0, 10.0) };
        }
    }
}

fn drive(d: &mut Dice, p: &mut Pipework) {
    p.unit.exhaust_pa = if d.one_in(3) { d.between(-100.0, 60.0) } else { 0.0 };
    if d.one_in(4) {
        p.unit.drive = Drive::InletSuction(p.inlets.iter().map(|_| d.between(-20.0, 400.0)).collect());
    } else if let Drive::Fan(fan) = &mut p.unit.drive {
        fan.speed = d.scale(0.2, 2.0);
        if d.one_in(2) {
            fan.interpolation = CurveInterpolation::Linear;
        }
    }
}

/// One thing that nobody means.
fn absurdity(d: &mut Dice, p: &mut Pipework) {
    let wild = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e-300, 1e300, -0.0, 1e-6, 1e3, 1e5];
    let value = if d.one_in(2) { wild[d.below(wild.len())] } else { d.scale(1e-6, 1e4) };
    let (s, o, n, i) =
        (d.below(p.segments.len()), d.below(p.openings.len()), d.below(p.nodes.len()), d.below(p.inlets.len()));
    let what = d.below(24);
    match what {
        0 => with(p.segments.get_mut(s), |s| s.length_m = value),
        1 => with(p.segments.get_mut(s), |s| s.bore_m = value),
        2 => with(p.segments.get_mut(s), |s| s.roughness_m = value),
        3 => with(p.segments.get_mut(s), |s| s.minor_k = value),
        4 => with(p.segments.get_mut(s), |s| s.far = (value.abs().min(1e6)) as u32),
        5 => with(p.segments.get_mut(s), |s| s.near = s.far),
        6 => with(p.openings.get_mut(o), |o| o.diameter_m = value),
        7 => with(p.openings.get_mut(o), |o| o.discharge = value),
        8 => with(p.openings.get_mut(o), |o| o.outside_pa = value),
        9 => with(p.openings.get_mut(o), |o| o.node = 999_999),
        10 => with(p.nodes.get_mut(n), |n| n.elevation_m = value),
        11 => with(p.inlets.get_mut(i), |i| i.loss.quadratic = value),
        12 => with(p.inlets.get_mut(i), |i| i.node = Some(n as u32)),
        13 => p.openings.iter_mut().for_each(|o| o.blocked = true),
        14 => p.air.temperature_c = value,
        15 => p.air.given = Some(GivenAir { density: value, viscosity: 1.8e-5 }),
        16 => p.unit.exhaust_pa = value,
        17 => p.unit.loss.quadratic = value,
        18 => p.inlets.clear(),
        19 => p.segments.clear(),
        20 => with(p.segments.get_mut(s), |s| s.known = 77),
        21 => p.segments.iter_mut().for_each(|s| s.length_m = value),
        22 => p.openings.iter_mut().for_each(|o| o.diameter_m = value),
        _ => {
            if let Drive::Fan(fan) = &mut p.unit.drive {
                match d.below(4) {
                    0 => fan.speed = value,
                    1 => fan.curve.truncate(1),
                    2 => with(fan.curve.get_mut(2), |point| point.pressure_pa = value),
                    _ => with(fan.curve.get_mut(1), |point| point.flow_m3_s = value),
                }
            }
        }
    }
}

fn with<T>(part: Option<&mut T>, change: impl FnOnce(&mut T)) {
    if let Some(part) = part {
        change(part);
    }
}
