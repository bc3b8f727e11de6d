//! What outlives a power cut: one small JSON document, written whole after every step.

use serde::{Deserialize, Serialize};

/// Name under which it is kept.
pub const NAME: &str = "guide.json";
/// The form of this document; another one is refused rather than guessed at.
const FORM: u32 = 1;

/// A run under way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Kept {
    pub(super) form: u32,
    /// Name of the deck.
    pub(super) deck: String,
    /// The planned run, as run.csv without counts: what was asked for.
    pub(super) planned: String,
    /// What the touch check found; `None`: it was not made yet.
    pub(super) touched: Option<Vec<String>>,
    /// Whether the touch check was left out.
    pub(super) touch_left_out: bool,
    /// Counts of each row of the run that was taken, from the first.
    pub(super) counts: Vec<Vec<f64>>,
    /// What the deck's own thermometer showed at each of them, °C; none where it has none.
    #[serde(rename = "temperatures_C", default, skip_serializing_if = "Vec::is_empty")]
    pub(super) temperatures_c: Vec<Option<f64>>,
    /// When the last reading was taken, RFC 3339: the calibration keeps its time.
    #[serde(default)]
    pub(super) made_at: Option<String>,
}

impl Kept {
    pub(super) fn new(deck: &str, planned: &str) -> Self {
        Self {
            form: FORM,
            deck: deck.to_owned(),
            planned: planned.to_owned(),
            touched: None,
            touch_left_out: false,
            counts: Vec::new(),
            temperatures_c: Vec::new(),
            made_at: None,
        }
    }

    /// Reads what was kept, for the same deck and plan.
    pub(super) fn read(text: &str, deck: &str, planned: &str, n_cells: usize) -> Result<Self, String> {
        let mut kept: Self = serde_json::from_str(text).map_err(|e| e.to_string())?;
        if kept.form != FORM {
            return Err(format!("found form {}, expected {FORM}", kept.form));
        }
        if kept.deck != deck {
            return Err(format!("found a run of the deck {:?}, expected one of {deck:?}", kept.deck));
        }
        if kept.planned != planned {
            return Err("found a run of another plan, expected that of this deck with these masses".into());
        }
        let n_rows = planned.lines().count().saturating_sub(1);
        let fits = |row: &Vec<f64>| row.len() == n_cells && row.iter().all(|c| c.is_finite());
        if kept.counts.len() > n_rows || !kept.counts.iter().all(fits) {
            return Err(format!("found counts that do not fit, expected at most {n_rows} rows of {n_cells} cells"));
        }
        if kept.temperatures_c.iter().flatten().any(|c| !c.is_finite()) {
            return Err("found a temperature that is no number, expected °C".into());
        }
        // A file of the version before says nothing of them.
        kept.temperatures_c.resize(kept.counts.len(), None);
        Ok(kept)
    }

    pub(super) fn write(&self) -> String {
        // Numbers and texts only: there is nothing in it that has no JSON.
        serde_json::to_string_pretty(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLANNED: &str = "step,plate\n1,\n2,\n";

    #[test]
    fn what_was_kept_is_read_back_and_what_belongs_elsewhere_is_refused() {
        let mut kept = Kept::new("a deck", PLANNED);
        kept.counts.push(vec![1.5, -2.0]);
        kept.temperatures_c.push(Some(21.5));
        let text = kept.write();
        assert_eq!(Kept::read(&text, "a deck", PLANNED, 2), Ok(kept.clone()));
        // A file of the version before does not say when the last reading was taken.
        assert_eq!(Kept::read(&text.replace(",\n  \"made_at\": null", ""), "a deck", PLANNED, 2), Ok(kept.clone()));
        // Nor, before that, how warm it was.
        let (from, to) = (text.find("  \"temperatures_C\"").unwrap(), text.find("  \"made_at\"").unwrap());
        let cold = Kept::read(&format!("{}{}", &text[..from], &text[to..]), "a deck", PLANNED, 2).unwrap();
        assert_eq!((cold.temperatures_c, cold.counts), (vec![None], kept.counts));
        assert!(Kept::read(&text, "another", PLANNED, 2).unwrap_err().contains("another"));
        assert!(Kept::read(&text, "a deck", "step\n1\n", 2).unwrap_err().contains("another plan"));
        assert!(Kept::read(&text, "a deck", PLANNED, 3).unwrap_err().contains("do not fit"));
        assert!(Kept::read(&text[..20], "a deck", PLANNED, 2).is_err());
        assert!(Kept::read(&text.replace("\"form\": 1", "\"form\": 2"), "a deck", PLANNED, 2).is_err());
    }
}
