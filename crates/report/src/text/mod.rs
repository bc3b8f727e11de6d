//! One screen a stage.
