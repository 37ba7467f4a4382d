//! Why a pipework cannot be solved, where, and what to do about it. Not here: warnings about a result that stands.
use core::fmt;

/// A place in a pipework; indices are those of the vectors of `Pipework`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Place {
    /// The pipework as a whole.
    Pipework,
    /// Index into `Pipework::nodes`.
    Node(usize),
    /// Index into `Pipework::segments`.
    Segment(usize),
    /// Index into `Pipework::openings`.
    Opening(usize),
    /// Index into `Pipework::inlets`.
    Inlet(usize),
    /// Index into `Pipework::known`.
    Known(usize),
    /// The unit's air path (losses, exhaust).
    Unit,
    /// The fan or what stands in its place.
    Drive,
    /// The air at the site.
    Air,
    /// The options of the call.
    Options,
}
impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pipework => f.write_str("pipework"),
            Self::Node(i) => write!(f, "node [{i}]"),
            Self::Segment(i) => write!(f, "segment [{i}]"),
            Self::Opening(i) => write!(f, "opening [{i}]"),
            Self::Inlet(i) => write!(f, "inlet [{i}]"),
            Self::Known(i) => write!(f, "tolerances [{i}]"),
            Self::Unit => f.write_str("unit"),
            Self::Drive => f.write_str("fan or inlet suction"),
            Self::Air => f.write_str("air"),
            Self::Options => f.write_str("options"),
        }
    }
}

/// What is wrong with a pipework.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// A number is not finite or outside what the model covers.
    #[error("{what} is {value}, outside {low} to {high}")]
    OutOfRange {
        /// The quantity, with its unit.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Least value accepted.
        low: f64,
        /// Greatest value accepted.
        high: f64,
    },
    /// An index points past the end of its list.
    #[error("{what} {index} does not exist (there are {count})")]
    NoSuch {
        /// What the index is of.
        what: &'static str,
        /// The index.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// Nothing joins this to any inlet.
    #[error("not joined to any inlet")]
    Unjoined,
    /// A segment that starts and ends at one node.
    #[error("starts and ends at the same node")]
    SelfLoop,
    /// Two inlets at one node.
    #[error("shares its node with another inlet")]
    SharedInletNode,
    /// Two inlets with one number.
    #[error("its number is used twice")]
    DuplicateNumber,
    /// No inlet carries a pipe, or nothing is open.
    #[error("no open path from any opening to the unit")]
    NothingOpen,
    /// More inlets than a unit has.
    #[error("{0} inlets; at most 8 can be modelled")]
    TooManyInlets(usize),
    /// More closed rings than the solver takes.
    #[error("{0} closed rings; at most {1} can be modelled")]
    TooManyRings(usize, usize),
    /// More nodes, segments or openings than indices allow.
    #[error("more than {0} parts")]
    TooLarge(usize),
    /// A fan curve with too few points or flows that do not rise.
    #[error("the fan curve needs at least two points by strictly rising flow")]
    FanCurve,
    /// Not one suction per inlet.
    #[error("{given} suctions are given for {inlets} inlets")]
    SuctionCount {
        /// Entries given.
        given: usize,
        /// Inlets that exist.
        inlets: usize,
    },
}
impl Fault {
    /// What to do about it.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::OutOfRange { .. } => "check the value and its unit (metres, pascals, m3/s)",
            Self::NoSuch { .. } => "correct the reference or add what it refers to",
            Self::Unjoined => "join it to a pipe that leads to an inlet, or remove it",
            Self::SelfLoop => "give the segment two different ends; a ring needs at least two segments",
            Self::SharedInletNode => "give each inlet its own pipe end; join the pipes farther out",
            Self::DuplicateNumber => "number the inlets as they are printed at the unit",
            Self::NothingOpen => "give at least one inlet a pipe with an unblocked opening",
            Self::TooManyInlets(_) => "describe one unit at a time",
            Self::TooManyRings(..) => "describe the pipework with fewer cross-connections",
            Self::TooLarge(_) => "describe one unit at a time",
            Self::FanCurve => "list the points of the fan curve by rising flow, each flow once",
            Self::SuctionCount { .. } => "give one measured suction for each inlet, in the order of the inlets",
        }
    }
}

/// A pipework that cannot be modelled: where, and why.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{place}: {fault}; {}", fault.remedy())]
pub struct BuildError {
    /// The place.
    pub place: Place,
    /// What is wrong there.
    pub fault: Fault,
}
impl BuildError {
    pub(crate) const fn new(place: Place, fault: Fault) -> Self {
        Self { place, fault }
    }
}

/// A network for which no solution was reached. No partial result is given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SolveError {
    /// The iteration did not settle within its limit.
    #[error(
        "no solution within {iterations} iterations: {worst} is still {residual_pa:.2e} Pa out of balance; \
         check the fan curve (does it fall?) and the values at that place"
    )]
    NotConverged {
        /// Newton steps taken.
        iterations: u32,
        /// Where the balance is worst.
        worst: Place,
        /// By how much, Pa.
        residual_pa: f64,
    },
    /// The numbers left the range of arithmetic.
    #[error("the numbers overflow at {at}; check the values at that place, their units above all")]
    Overflow {
        /// Where it shows.
        at: Place,
    },
    /// A workspace that was made for another network.
    #[error("this workspace belongs to another network; make one with Network::workspace")]
    WrongWorkspace,
}

/// Why a call of the engine gave no result.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AirflowError {
    /// The pipework or the options cannot be modelled.
    #[error(transparent)]
    Build(#[from] BuildError),
    /// No steady state was found.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// A Monte Carlo draw had no solution.
    #[error("draw {draw} of the tolerances has no solution ({source}); the tolerances are too wide for this pipework")]
    Draw {
        /// Number of the draw, from 0.
        draw: u64,
        /// Why.
        source: SolveError,
    },
}
