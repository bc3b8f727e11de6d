//! What the calibration says of temperature: terms that are taken off, and what is left open.
//!
//! `calibrate` keeps a term only where its run supports it (Student's t): the zero of each cell, ζ counts for a degree, and one share β of all gains. Both hold at
//! the mean temperature of the run. Where the recording says its temperature they are taken off; their own uncertainty is left. Where it does not, or no term
//! was kept, the whole effect is open: a kept term's own size, else the data sheet's bound (rectangular, u = a/√3; JCGM 100:2008, 4.3.7).
//!
//! | symbol | name                | unit      |
//! |--------|---------------------|-----------|
//! | ζ      | `zero_counts_per_c` | counts/°C |
//! | β      | `span_per_c`        | 1/°C      |
//!
//! All cells of a deck warm together, so that kept zeros add up with their signs and those that only the sheet bounds add up in squares. The thermometer is
//! taken to show how much warmer the cells are than at the tare; what a body warms the plates under it by, it does not show.
//! Source of the two effects: OIML R 60-1:2021, 5.6.1 (span) and 5.6.1.3 (minimum dead load output).

use deck::chain;
use formats::calibration::Calibration;
use formats::deck::CellType;
use formats::deck::Deck;
use signal::config::Doubt;

use crate::WeighError;

/// The terms of a calibration.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Warmth<'a>(Option<(&'a formats::calibration::FitDetail, f64)>);

impl<'a> Warmth<'a> {
    /// None where the calibration does not say at which temperature it holds.
    pub(crate) fn of(calibration: &'a Calibration) -> Self {
        Self(calibration.detail.as_ref().and_then(|detail| Some((detail, detail.temperature_c?))))
    }

    /// Temperature that zeros and gains hold at, °C.
    pub(crate) fn reference_c(&self) -> Option<f64> {
        self.0.map(|(_, reference_c)| reference_c)
    }

    /// A cell's kept zero term and its uncertainty, where it is stated, counts/°C.
    pub(crate) fn zero(&self, cell: &str) -> Option<(f64, Option<f64>)> {
        let known = self.0?.0.cells.iter().find(|known| known.name == cell)?;
        Some((known.zero_counts_per_c?, known.u_zero_counts_per_c))
    }

    /// The kept share of the gains and its uncertainty, where it is stated, 1/°C.
    pub(crate) fn span(&self) -> Option<(f64, Option<f64>)> {
        let (detail, _) = self.0?;
        Some((detail.span_per_c?, detail.u_span_per_c))
    }

    /// Fills in what temperature does to the deck, with the terms taken off and without.
    pub(crate) fn doubt(&self, deck: &Deck, calibration: &Calibration, doubt: &mut Doubt) -> Result<(), WeighError> {
        let bound = |pct: f64| pct / 100.0 / 3f64.sqrt() / 10.0;
        let sheet_kg_c = |cell_type: &CellType| bound(cell_type.zero_tc_pct_10c) * cell_type.capacity_kg;
        let (mut known_kg_c, mut open_2, mut left_2, mut span) = (0.0, 0.0, 0.0, 0.0_f64);
        for (_, cell) in deck.cells() {
            let cell_type = chain::cell_type(deck, cell)?;
            span = span.max(bound(cell_type.span_tc_pct_10c));
            let kg_per_count =
                calibration.cells.iter().find(|line| line.name == cell.name).and_then(|l| l.kg_per_count);
            let sheet_2 = sheet_kg_c(cell_type).powi(2);
            match self.zero(&cell.name).zip(kg_per_count) {
                Some(((counts_per_c, u), kg_per_count)) => {
                    known_kg_c -= counts_per_c * kg_per_count;
                    left_2 += u.map_or(sheet_2, |u| (u * kg_per_count).powi(2));
                }
                None => {
                    open_2 += sheet_2;
                    left_2 += sheet_2;
                }
            }
        }
        doubt.zero_kg_c = open_2.sqrt().hypot(known_kg_c);
        doubt.zero_left_kg_c = left_2.sqrt();
        (doubt.span_rel_c, doubt.span_left_rel_c) = match self.span() {
            Some((per_c, u)) => (per_c.abs(), u.unwrap_or(span)),
            None => (span, span),
        };
        Ok(())
    }
}
