//! A first guess of all flows from nothing: the network with every law taken as purely quadratic. Not here: the solve.
use super::{Network, coefficients::DriveLaw, newton::Workspace};
use libm::sqrt;

/// Friction factor of the guess; that of Re 4000 in a smooth pipe.
const GUESS_FRICTION: f64 = 0.04;

impl Network {
    /// Fills the hole flows of the workspace. Admittances y = q / sqrt(dp) add in parallel; a resistance R in series
    /// makes y / sqrt(1 + R y^2) of them. Chords are left at zero flow.
    pub(super) fn guess(&self, ws: &mut Workspace) {
        let (layout, laws) = (&self.layout, &self.laws);
        let n = layout.parent.len();
        // `a` holds the admittance of what enters each position, `s` that seen through its edge.
        let (y, through) = (&mut ws.a[..n], &mut ws.s[..n]);
        y.fill(0.0);
        for hole in &laws.holes {
            y[hole.at as usize] += 1.0 / sqrt(hole.c);
        }
        let series = |y: f64, r: f64| y / sqrt(1.0 + r * y * y);
        for at in (layout.first_pipe..n).rev() {
            let edge = &laws.edges[at - layout.first_pipe];
            through[at] = series(y[at], edge.half_fl * GUESS_FRICTION + edge.half_k);
            y[layout.parent[at] as usize] += through[at];
        }
        let least = 1e-3 * sqrt(self.pressure_scale);
        let total = match &laws.drive {
            DriveLaw::Suction(suctions) => {
                for (i, &suction) in suctions.iter().enumerate() {
                    let at = layout.first_inlet + i;
                    let root = sqrt(suction.abs()).max(least);
                    ws.flow[at] = y[at] * if suction < 0.0 { -root } else { root };
                }
                0.0
            }
            DriveLaw::Fan { .. } => {
                for (i, loss) in laws.inlets.iter().enumerate() {
                    let at = layout.first_inlet + i;
                    through[at] = series(y[at], loss.quadratic);
                    y[1] += through[at];
                }
                self.guess_total(y[1], least)
            }
        };
        if layout.first_inlet == 2 {
            for at in layout.first_inlet..layout.first_pipe {
                ws.flow[at] = share(total, through[at], y[1]);
            }
        }
        for at in layout.first_pipe..n {
            let parent = layout.parent[at] as usize;
            ws.flow[at] = share(ws.flow[parent], through[at], y[parent]);
        }
        for (q, hole) in ws.holes.flow.iter_mut().zip(&laws.holes) {
            let at = hole.at as usize;
            *q = share(ws.flow[at], 1.0 / sqrt(hole.c), y[at]);
        }
        ws.chords.flow.fill(0.0);
    }

    /// Flow of the unit through admittance y: where manifold pressure + (q/y)^2 passes zero.
    fn guess_total(&self, y: f64, least: f64) -> f64 {
        let drive = |q: f64| self.laws.drive.manifold(q).0;
        let low = y * least;
        let (mut from, mut to) = (low, y * sqrt((-drive(0.0)).max(0.0)));
        if to <= from {
            return low;
        }
        for _ in 0..10 {
            let middle = 0.5 * (from + to);
            if drive(middle) + middle * middle / (y * y) < 0.0 {
                from = middle;
            } else {
                to = middle;
            }
        }
        0.5 * (from + to)
    }
}

fn share(whole: f64, part: f64, sum: f64) -> f64 {
    if sum > 0.0 { whole * part / sum } else { 0.0 }
}
