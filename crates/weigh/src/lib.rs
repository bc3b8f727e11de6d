//! Stage weigh: a recording and its actions to weights, events and faults.
