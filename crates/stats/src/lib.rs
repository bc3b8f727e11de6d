//! Statistics that know no word of the field: least squares, distributions, agreement, uncertainty, state space.
