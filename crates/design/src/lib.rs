//! Stage design: stiffness, load path, error budget, bill and requirements of a deck.
