//! Steady levels with correlated noise, for means.
use super::{Ar1, Dice, readings, times};
use plumeline_measure::Sample;

pub struct Level {
    pub truth: f64,
    pub resolution: f64,
    pub samples: Vec<Sample>,
    pub kind: &'static str,
}

/// One level: 150 to 1200 readings that are worth at least 25 independent ones.
pub fn level(kind: usize, dice: &mut Dice) -> Level {
    let truth = dice.between(20.0, 80.0);
    let sd = truth * dice.scale(0.002, 0.03);
    let n = dice.scale(150.0, 1200.0).round();
    let (kind, rho, white, resolution) = match kind % 4 {
        0 => ("white", 0.0, 0.0, 0.0),
        1 => {
            // (1 + rho) / (1 - rho) at most n / 25
            let most = (n / 25.0 - 1.0) / (n / 25.0 + 1.0);
            ("autocorrelated", dice.between(0.1, most), 0.0, 0.0)
        }
        2 => (
            "autocorrelated and white",
            dice.between(0.3, ((n / 40.0 - 1.0) / (n / 40.0 + 1.0)).max(0.35)),
            dice.between(0.3, 1.0),
            0.0,
        ),
        _ => ("quantised", dice.between(0.0, 0.5), 0.0, sd * dice.between(0.3, 2.0)),
    };
    let mut noise = Ar1::new(rho, dice);
    let t = times(0.0, n, 1.0, dice);
    let noise: Vec<f64> = t.iter().map(|_| sd * (noise.next(dice) + white * dice.normal())).collect();
    Level { truth, resolution, samples: readings(&t, |i, _| truth + noise[i], resolution), kind }
}
