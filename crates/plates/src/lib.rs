//! Plate bending by finite elements on unilateral springs over a rigid base; newtons and metres only.
