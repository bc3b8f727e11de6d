//! Body segments of a patient laid on the sections of a bed.
