//! Statistics: distributions, autocorrelation, trend. Each function names its source.
