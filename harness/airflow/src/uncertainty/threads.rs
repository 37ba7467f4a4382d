//! Work shared out among threads, or done by one: the results are the same, bit for bit. Not here: what the work is.
use crate::AirflowError;
use alloc::vec::Vec;

/// The results of so many pieces of work, in order. `hand` makes what one thread works with. Every piece is done, so that
/// the error told is that of the first that fails, whoever does it.
#[cfg(feature = "threads")]
pub(super) fn each<H, T: Send>(
    count: usize,
    hand: impl Fn() -> H + Sync + Send,
    one: impl Fn(&mut H, usize) -> Result<T, AirflowError> + Sync + Send,
) -> Result<Vec<T>, AirflowError> {
    use rayon::prelude::*;
    let all: Vec<Result<T, AirflowError>> = (0..count).into_par_iter().map_init(hand, one).collect();
    all.into_iter().collect()
}

/// The results of so many pieces of work, in order. `hand` makes what the work is done with.
#[cfg(not(feature = "threads"))]
pub(super) fn each<H, T>(
    count: usize,
    hand: impl Fn() -> H,
    one: impl Fn(&mut H, usize) -> Result<T, AirflowError>,
) -> Result<Vec<T>, AirflowError> {
    let mut hand = hand();
    (0..count).map(|i| one(&mut hand, i)).collect()
}
