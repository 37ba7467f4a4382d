//! `plumeline predict`: the table of what every pipe and hole should do.
use crate::{
    args::Predict,
    failure::{Exit, Failure},
};

/// `plumeline predict`
pub fn predict(_: &Predict) -> Result<Exit, Failure> {
    Err(Failure::internal("predict is not built yet"))
}
