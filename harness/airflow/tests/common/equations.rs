//! The equations of a network, written down a second time from their description, with `std` mathematics: mass at
//! every node, pressure over every segment, opening, inlet and the fan. Shares no code with the engine.
use super::*;
use plumeline_airflow::{Solution, SolveOptions, air, friction::FrictionLaw};
use std::f64::consts::PI;

/// Largest mass imbalance over the sum of opening flows, and largest pressure misfit over the largest pressure.
pub fn misfits(p: &Pipework, o: &SolveOptions, s: &Solution) -> (f64, f64) {
    assert_eq!(o.friction, FrictionLaw::Churchill);
    let site = air::site_air(&p.air).unwrap();
    let inside = |seg: &Segment| seg.air_temperature_c.map_or(site, |t| air::air_at(&p.air, t).unwrap());
    let area = |d: f64| PI * d * d / 4.0;
    // Momentum coefficient of each node: two segments of one bore and an open opening, inlets' nodes apart.
    let open = |o: &&Opening| !o.blocked && o.diameter_m > 0.0;
    let mut run: Vec<Option<(f64, usize, usize)>> = vec![None; p.nodes.len()];
    if o.momentum {
        for opening in p.openings.iter().filter(open) {
            let n = opening.node;
            let at: Vec<usize> =
                (0..p.segments.len()).filter(|&i| p.segments[i].near == n || p.segments[i].far == n).collect();
            let inlet = p.inlets.iter().any(|i| i.node == Some(n));
            if let ([a, b], false) = (at.as_slice(), inlet) {
                let (x, y) = (p.segments[*a].bore_m, p.segments[*b].bore_m);
                if (x - y).abs() <= 0.05 * x.min(y) {
                    let k = o.momentum_factor * site.density.powi(2)
                        / (inside(&p.segments[*a]).density * area(x) * area(y));
                    run[n as usize] = Some((k, *a, *b));
                }
            }
        }
    }
    let q = &s.segment_flow_m3_s;
    let momentum = |n: u32| run[n as usize].map_or(0.0, |(k, a, b)| k * (q[a] * q[a] + q[b] * q[b]) / 2.0);
    // Pressure in the pipe at its end: what the opening feels, plus the mean momentum, less its own.
    let end = |n: u32, flow: f64| {
        s.node_pressure_pa[n as usize] + momentum(n) - run[n as usize].map_or(0.0, |(k, ..)| k * flow * flow)
    };
    let mut mass: Vec<f64> = vec![0.0; p.nodes.len()];
    let mut worst = 0.0f64;
    let mut scale = s.node_pressure_pa.iter().fold(1e-300f64, |m, x| m.max(x.abs()));
    for (seg, &flow) in p.segments.iter().zip(q) {
        mass[seg.near as usize] += flow;
        mass[seg.far as usize] -= flow;
        let gas = inside(seg);
        let v = flow * site.density / gas.density / area(seg.bore_m);
        let re = gas.density * v.abs() * seg.bore_m / gas.viscosity;
        let friction = if re == 0.0 { 0.0 } else { churchill(re, seg.roughness_m / seg.bore_m) };
        let head = gas.density * v * v.abs() / 2.0;
        let loss = (friction * seg.length_m / seg.bore_m + seg.minor_k) * head;
        let rise = p.nodes[seg.far as usize].elevation_m - p.nodes[seg.near as usize].elevation_m;
        let lift = (site.density - gas.density) * 9.80665 * rise;
        worst = worst.max((end(seg.far, flow) - end(seg.near, flow) - loss - lift).abs());
    }
    let drawn = drain_densities(p, site.density, &inside);
    let mut total = 0.0;
    for (k, opening) in p.openings.iter().enumerate() {
        let flow = s.opening_flow_m3_s[k];
        if !open(&opening) {
            assert_eq!(flow, 0.0);
            continue;
        }
        mass[opening.node as usize] += flow;
        total += flow.abs();
        let rho = drawn[opening.node as usize];
        let v = flow * site.density / rho / (opening.discharge * area(opening.diameter_m));
        let drop = opening.outside_pa - s.node_pressure_pa[opening.node as usize];
        scale = scale.max(opening.outside_pa.abs());
        assert_eq!(s.opening_suction_pa[k], drop);
        if let Some(misfit) = rho.is_finite().then(|| drop - rho * v * v.abs() / 2.0) {
            worst = worst.max(misfit.abs());
        }
    }
    let unit_density = match &p.unit.drive {
        Drive::Fan(fan) => fan.reference_density,
        Drive::InletSuction(_) => air::REFERENCE_DENSITY,
    };
    let loss = |l: &Loss, q: f64| {
        l.linear * site.viscosity / air::REFERENCE_VISCOSITY * q
            + l.quadratic * site.density / unit_density * q * q.abs()
    };
    let mut sum = 0.0;
    for (i, inlet) in p.inlets.iter().enumerate() {
        let flow = s.inlet_flow_m3_s[i];
        sum += flow;
        let Some(n) = inlet.node else { continue };
        mass[n as usize] -= flow;
        match (&p.unit.drive, s.manifold_pressure_pa) {
            (Drive::InletSuction(suction), _) => {
                scale = scale.max(suction[i].abs());
                worst = worst.max((s.node_pressure_pa[n as usize] + suction[i]).abs());
            }
            (_, Some(manifold)) => {
                worst = worst.max((s.node_pressure_pa[n as usize] - manifold - loss(&inlet.loss, flow)).abs())
            }
            _ => panic!("a fan without a manifold"),
        }
    }
    let unit = (sum - s.total_flow_m3_s).abs();
    if let (Drive::Fan(fan), Some(manifold)) = (&p.unit.drive, s.manifold_pressure_pa) {
        scale = scale.max(fan.curve[0].pressure_pa.abs() * fan.speed * fan.speed);
        if fan.interpolation == CurveInterpolation::Linear {
            let q = s.total_flow_m3_s;
            let lost = loss(&p.unit.loss, q) + loss(&p.unit.exhaust_loss, q);
            worst = worst.max((manifold - p.unit.exhaust_pa - lost + linear_fan(fan, q, site.density)).abs());
        }
    }
    let total = if total > 0.0 { total } else { 1.0 };
    (mass.iter().fold(unit, |m, x| m.max(x.abs())) / total, worst / scale)
}

fn churchill(re: f64, rough: f64) -> f64 {
    if re < 1e-3 {
        // The powers as printed leave the range of a double.
        return 64.0 / re;
    }
    let a = (2.457 * (1.0 / ((7.0 / re).powf(0.9) + 0.27 * rough)).ln()).powi(16);
    let b = (37530.0 / re).powi(16);
    8.0 * ((8.0 / re).powi(12) + (a + b).powf(-1.5)).powf(1.0 / 12.0)
}

fn linear_fan(fan: &Fan, q: f64, density: f64) -> f64 {
    let (x, points) = (q / fan.speed, &fan.curve);
    let i = points.iter().rposition(|p| p.flow_m3_s <= x).unwrap_or(0).min(points.len() - 2);
    let (a, b) = (points[i], points[i + 1]);
    let p = a.pressure_pa + (x - a.flow_m3_s) / (b.flow_m3_s - a.flow_m3_s) * (b.pressure_pa - a.pressure_pa);
    p * fan.speed * fan.speed * density / fan.reference_density
}

/// Density of the air that each node's openings draw: that of the segment through which the node drains. NaN where rings
/// leave that open and the densities differ.
fn drain_densities(p: &Pipework, site: f64, inside: &dyn Fn(&Segment) -> air::AirState) -> Vec<f64> {
    let mut all = vec![f64::NAN; p.nodes.len()];
    if p.segments.iter().all(|seg| seg.air_temperature_c.is_none()) {
        return vec![site; p.nodes.len()];
    }
    let mut reached: Vec<u32> = p.inlets.iter().filter_map(|i| i.node).collect();
    if p.segments.len() + reached.len() > p.nodes.len() {
        return all;
    }
    reached.iter().for_each(|&n| all[n as usize] = site);
    while let Some(n) = reached.pop() {
        for seg in p.segments.iter().filter(|s| s.near == n || s.far == n) {
            let other = seg.near + seg.far - n;
            if all[other as usize].is_nan() {
                all[other as usize] = inside(seg).density;
                reached.push(other);
            }
        }
    }
    all
}
