//! What a reader of a balance should know besides its figures.

use jiff::Timestamp;

use crate::answers::lines;

use super::{Fit, Record};

pub(super) fn notes(record: &Record, fit: &Fit) -> Vec<String> {
    let readings = &record.readings;
    let mut notes = vec![format!(
        "{} settled of {} weights, averaged to {} readings; a mean over a block counts for no more than one weight in \
         two minutes, for neighbours share their error",
        readings.n_settled,
        readings.n_rows,
        readings.readings.len()
    )];
    for &reading in &fit.screened.outliers {
        let reading = readings.readings[reading];
        notes.push(format!(
            "weight of {:.3} kg at {} left out: it stands alone",
            reading.mass_g / 1000.0,
            seconds(record.time(reading.t_h))
        ));
    }
    for &(reading, fluid_g) in &fit.screened.removed {
        let t_h = readings.readings[reading].t_h;
        notes.push(format!("pads with about {fluid_g:.0} g were off the deck by {}", seconds(record.time(t_h))));
    }
    for wet in &record.wet {
        notes.push(format!(
            "{:.0} ± {:.0} g of fluid left the deck with {} at {}",
            wet.fluid_g,
            wet.u_g,
            wet.name,
            seconds(wet.time)
        ));
    }
    if fit.due {
        notes.push(
            "the weights fit better if entries of a route that keeps a pace ran up to the round they were due at than up \
             to their stamps: so they are taken"
                .to_owned(),
        );
    }
    if record.after_now > 0 {
        notes.push(format!("{} weights stand after the time now, and are used: is the clock right?", record.after_now));
    }
    if !record.late.is_empty() {
        let (n, lines) = (record.late.len(), lines(&record.late));
        notes.push(if n == 1 {
            format!("1 chart entry stands after later ones and counts at its own time: {lines}")
        } else {
            format!("{n} chart entries stand after later ones and count at their own time: {lines}")
        });
    }
    if fit.built.row_nodes.is_empty() {
        notes.push("the record holds no whole hour: no rows".to_owned());
    }
    notes
}

/// A time to the second.
pub(crate) fn seconds(time: Timestamp) -> Timestamp {
    time.round(jiff::Unit::Second).unwrap_or(time)
}
