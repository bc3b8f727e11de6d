//! Stage balance: weights and chart to a fluid balance, its unexplained part and a forecast.
