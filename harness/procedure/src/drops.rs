//! What closing a hole showed: kept, so that one hole can be closed again without the others.
//!
//! Not here: what it is held against (`crate::judge`).
use crate::{facts::fixed, mean_flow::Told, outcome::Finding, plan::HoleRef};
use alloc::{boxed::Box, format, string::String, vec::Vec};
use plumeline_base::{Instant, quantity::Estimate};
use plumeline_measure::joint::Seen;

/// What a hole showed.
#[derive(Clone)]
pub(crate) enum HoleShown {
    /// Nothing more is to be found out.
    Found(Box<Finding>),
    /// Smoke held to it, in place of closing it.
    BySmoke(Box<Finding>),
    /// Measured; to be compared with the pipe's other holes.
    Measured(MeasuredDrop),
}

impl HoleShown {
    /// How far its drop was off the prediction, as a share of it.
    pub(crate) fn deviation(&self) -> Option<f64> {
        match self {
            Self::Measured(drop) => Some(drop.pooled().deviation),
            Self::Found(f) => Some(f.measured.as_ref()?.value / f.expected.as_ref()?.value - 1.0),
            Self::BySmoke(_) => None,
        }
    }
}

/// By which closings a hole was shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Closings {
    /// It was closed, all others open.
    One,
    /// It was open, all others of its pipe closed; this is the predicted share of the pipe's flow.
    AllOthers(f64),
    /// Both, and what each showed.
    Both {
        /// Closed by itself: the drop over the predicted one, and its standard uncertainty.
        closed: (f64, f64),
        /// Open by itself: the share of the pipe's flow.
        alone: f64,
    },
}

/// What closing a hole once showed, as shares of the predicted drop.
#[derive(Clone, Copy, Debug)]
pub(crate) struct DropLook {
    /// Measured drop less the predicted one.
    pub(crate) deviation: f64,
    /// Standard uncertainty of the measured drop.
    pub(crate) u: f64,
    /// Degrees of freedom of that.
    pub(crate) dof: f64,
}

/// A hole whose drop was measured, to be compared with the pipe's other holes.
#[derive(Clone, Debug)]
pub(crate) struct MeasuredDrop {
    pub(crate) hole: HoleRef,
    pub(crate) opening: usize,
    pub(crate) by: Closings,
    pub(crate) told: Told,
    pub(crate) words: String,
    /// When it was closed first.
    pub(crate) window: (Instant, Instant),
    /// The predicted drop, m3/s.
    pub(crate) expected: Estimate,
    /// Each time that it was closed.
    pub(crate) looks: Vec<DropLook>,
    /// What each common cause does to its drop, as a share of it.
    pub(crate) common: Vec<f64>,
    pub(crate) share_of_pipe: f64,
}
impl MeasuredDrop {
    /// All looks together, each by the inverse of its variance.
    pub(crate) fn pooled(&self) -> DropLook {
        let weight = |l: &DropLook| 1.0 / (l.u * l.u);
        let total: f64 = self.looks.iter().map(weight).sum();
        DropLook {
            deviation: self.looks.iter().map(|l| l.deviation * weight(l)).sum::<f64>() / total,
            u: libm::sqrt(1.0 / total),
            dof: self.looks.iter().map(|l| l.dof).fold(f64::INFINITY, f64::min),
        }
    }
    pub(crate) fn seen(&self) -> Seen {
        let look = self.pooled();
        Seen { deviation: look.deviation, u: look.u, spread: self.spread(), common: self.common.clone() }
    }
    /// The drop when it was closed by itself, or what it drew alone where it never was, over the predicted one; and its standard uncertainty.
    pub(crate) fn figure(&self) -> (f64, f64) {
        match self.by {
            Closings::Both { closed, .. } => closed,
            Closings::One | Closings::AllOthers(_) => {
                let look = self.pooled();
                (1.0 + look.deviation, look.u)
            }
        }
    }
    /// Takes in what the hole drew alone, which weighs so much of both.
    pub(crate) fn add(&mut self, alone: &Self, weight: f64) {
        let (first, second) = (self.pooled(), alone.pooled());
        let Closings::AllOthers(share) = alone.by else { return };
        self.by = Closings::Both { closed: (1.0 + first.deviation, first.u), alone: (1.0 + second.deviation) * share };
        let mix = |a: f64, b: f64| (1.0 - weight) * a + weight * b;
        // The drill's scatter moves both alike.
        self.expected.u_individual = self.expected.value * mix(self.spread(), alone.spread());
        self.looks = alloc::vec![DropLook {
            deviation: mix(first.deviation, second.deviation),
            u: libm::hypot((1.0 - weight) * first.u, weight * second.u),
            dof: first.dof.min(second.dof),
        }];
        self.common = self.common.iter().zip(&alone.common).map(|(a, b)| mix(*a, *b)).collect();
    }
    /// What was seen of it, in words.
    pub(crate) fn says(&self) -> String {
        let times = 1.0 + self.pooled().deviation;
        match self.by {
            Closings::One => format!("closing it lowered the flow by {}", self.told.words(times * self.expected.value)),
            Closings::AllOthers(share) => says_alone(times * share),
            Closings::Both { closed: (closed, _), alone } => {
                let fell = self.told.words(closed * self.expected.value);
                format!("closing it lowered the flow by {fell}, and {}", says_alone(alone))
            }
        }
    }
    pub(crate) fn spread(&self) -> f64 {
        self.expected.u_individual / self.expected.value
    }
}

fn says_alone(share: f64) -> String {
    format!("alone it takes {} % of its pipe's flow", fixed(share * 100.0, 1))
}
