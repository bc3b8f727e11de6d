//! What a deck is: units, materials and laminates, gravity, cells and converter as physical models.
