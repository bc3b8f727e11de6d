//! Stage verify: metrological tests against their limits, and agreement of two methods.
