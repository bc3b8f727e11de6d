//! The signal path from counts to a settled weight, sample by sample, without allocation.
