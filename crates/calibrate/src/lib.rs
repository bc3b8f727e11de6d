//! Stage calibrate: every cell's zero and gain from a run, with covariance and findings.
