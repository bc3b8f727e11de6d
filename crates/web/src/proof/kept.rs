//! What outlives a power cut: one small JSON document, written whole after every step.

use serde::{Deserialize, Serialize};

/// Name under which it is kept.
pub const NAME: &str = "verification.json";
/// The form of this document; another one is refused rather than guessed at.
const FORM: u32 = 1;

/// What became of a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub(super) enum Row {
    /// Still to be done.
    Waiting,
    /// Its test is left out.
    LeftOut,
    /// Read.
    Taken {
        counts: Vec<f64>,
        /// Minutes under load, where the test is about them.
        minutes: Option<f64>,
        #[serde(rename = "temperature_C")]
        temperature_c: Option<f64>,
        /// Angle of the section that the step is about, °.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tilt_deg: Option<f64>,
    },
}

/// A verification under way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Kept {
    pub(super) form: u32,
    /// Name of the deck.
    pub(super) deck: String,
    /// When the calibration was made that is verified.
    pub(super) calibrated_at: String,
    /// The plan, as text.
    pub(super) planned: String,
    /// One of each step.
    pub(super) rows: Vec<Row>,
    /// When the last step was done, RFC 3339: the evidence keeps its time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) ended_at: Option<String>,
}

impl Kept {
    pub(super) fn new(deck: &str, calibrated_at: &str, planned: &str, n_steps: usize) -> Self {
        Self {
            form: FORM,
            deck: deck.to_owned(),
            calibrated_at: calibrated_at.to_owned(),
            planned: planned.to_owned(),
            rows: vec![Row::Waiting; n_steps],
            ended_at: None,
        }
    }

    /// Reads what was kept, for the same deck, calibration and plan as `begun`, whose counts are of so many cells.
    pub(super) fn read(text: &str, begun: &Self, n_cells: usize) -> Result<Self, String> {
        let mut kept: Self = serde_json::from_str(text).map_err(|e| e.to_string())?;
        if kept.form != FORM {
            return Err(format!("found form {}, expected {FORM}", kept.form));
        }
        if kept.deck != begun.deck {
            return Err(format!("found a verification of the deck {:?}, expected one of {:?}", kept.deck, begun.deck));
        }
        if kept.calibrated_at != begun.calibrated_at {
            return Err(format!(
                "found a verification of the calibration of {}, expected that of {}",
                kept.calibrated_at, begun.calibrated_at
            ));
        }
        kept.go_on_to(begun);
        if kept.planned != begun.planned || kept.rows.len() != begun.rows.len() {
            return Err("found a verification of another plan, expected that of this deck with these masses".into());
        }
        let fits = |row: &Row| match row {
            Row::Taken { counts, .. } => counts.len() == n_cells && counts.iter().all(|c| c.is_finite()),
            Row::Waiting | Row::LeftOut => true,
        };
        if !kept.rows.iter().all(fits) {
            return Err(format!("found counts that do not fit, expected those of {n_cells} cells"));
        }
        Ok(kept)
    }

    /// A verification that was begun before there were as many kinds of test goes on with those that came since, at its end.
    fn go_on_to(&mut self, begun: &Self) {
        let steps = |planned: &str| serde_json::from_str::<Vec<serde_json::Value>>(planned).unwrap_or_default();
        let (before, now) = (steps(&self.planned), steps(&begun.planned));
        if !before.is_empty() && before.len() == self.rows.len() && now.len() > before.len() && now.starts_with(&before)
        {
            self.planned.clone_from(&begun.planned);
            self.rows.resize(begun.rows.len(), Row::Waiting);
            self.ended_at = None;
        }
    }

    pub(super) fn write(&self) -> String {
        // Numbers and texts only: there is nothing in it that has no JSON.
        serde_json::to_string_pretty(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_is_read_back_and_what_belongs_elsewhere_is_refused() {
        let begun = Kept::new("a deck", "2031-01-01T00:00:00Z", "a plan", 3);
        let mut kept = begun.clone();
        kept.rows[0] =
            Row::Taken { counts: vec![1.5, -2.0], minutes: Some(5.0), temperature_c: None, tilt_deg: Some(64.93) };
        kept.rows[1] = Row::LeftOut;
        kept.ended_at = Some("2031-01-01T02:00:00Z".into());
        let text = kept.write();
        assert_eq!(Kept::read(&text, &begun, 2), Ok(kept.clone()));
        // The same plan, which is none that goes on.
        let same = Kept { planned: "[{\"a\":1}]".into(), ..begun.clone() };
        let over = Kept { planned: same.planned.clone(), ..kept };
        assert_eq!(Kept::read(&over.write(), &same, 2), Ok(over));
        // What an earlier version wrote: no angles, and a plan that ends earlier.
        let mut shorter = Kept::new("a deck", "2031-01-01T00:00:00Z", "[{\"a\":1},{\"b\":2}]", 2);
        shorter.ended_at = Some("2031-01-01T02:00:00Z".into());
        shorter.rows[0] = Row::Taken { counts: vec![1.0, 2.0], minutes: None, temperature_c: None, tilt_deg: None };
        assert!(!shorter.write().contains("tilt"));
        let longer = Kept::new("a deck", "2031-01-01T00:00:00Z", "[{\"a\":1},{\"b\":2},{\"c\":3}]", 3);
        let goes_on = Kept::read(&shorter.write(), &longer, 2).unwrap();
        assert_eq!(goes_on.rows, [shorter.rows[0].clone(), Row::Waiting, Row::Waiting]);
        assert_eq!((&goes_on.planned, goes_on.ended_at), (&longer.planned, None));
        let changed = Kept { planned: "[{\"a\":1},{\"b\":3},{\"c\":3}]".into(), ..longer.clone() };
        assert!(Kept::read(&shorter.write(), &changed, 2).unwrap_err().contains("another plan"));
        assert!(Kept::read(&longer.write(), &shorter, 2).unwrap_err().contains("another plan"));
        let other = |change: fn(&mut Kept)| {
            let mut other = begun.clone();
            change(&mut other);
            Kept::read(&text, &other, 2).unwrap_err()
        };
        assert!(other(|k| k.deck = "another".into()).contains("another"));
        assert!(other(|k| k.calibrated_at = "2031-02-01T00:00:00Z".into()).contains("2031-02"));
        assert!(other(|k| k.planned = "longer".into()).contains("another plan"));
        assert!(Kept::read(&text, &begun, 3).unwrap_err().contains("do not fit"));
        assert!(Kept::read(&text[..20], &begun, 2).is_err());
        assert!(Kept::read(&text.replace("\"form\": 1", "\"form\": 2"), &begun, 2).is_err());
    }
}
