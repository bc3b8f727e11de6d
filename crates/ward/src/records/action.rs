//! What a person did at a bed.

use formats::actions::{Action, ActionKind, ITEM_MOST_KG};
use serde::{Deserialize, Serialize};
use store::entry::{Entry, Kind, NewEntry, WITHDRAWN};
use store::journal::{self, Query};
use store::sql::Transaction;

use super::{RecordError, body_of};

/// Characters of a note.
pub const NOTE_MOST: usize = 500;

/// An action as it is given and kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ActionBody {
    /// The word of `actions.csv`.
    pub action: String,
    /// Mass, kg, where known.
    #[serde(default)]
    pub kg: Option<f64>,
    /// A note.
    #[serde(default)]
    pub note: String,
    /// Number of the open question that this answers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub question: Option<i64>,
}

impl ActionBody {
    /// The action it tells of, at time 0.
    ///
    /// # Errors
    /// A word that is no action, a mass that is none.
    pub fn action(&self) -> Result<Action, RecordError> {
        let kind = ActionKind::of(&self.action).ok_or_else(|| {
            let all: Vec<&str> = ActionKind::all().collect();
            RecordError::value("action", format!("{:?}", self.action), format!("one of {}", all.join(", ")))
        })?;
        if let Some(kg) = self.kg
            && !(0.0..=ITEM_MOST_KG).contains(&kg)
        {
            return Err(RecordError::value("kg", kg.to_string(), format!("0 to {ITEM_MOST_KG}")));
        }
        if self.note.chars().count() > NOTE_MOST {
            return Err(RecordError::value("note", "a longer text", format!("at most {NOTE_MOST} characters")));
        }
        let answers =
            matches!(kind, ActionKind::Add | ActionKind::Remove | ActionKind::PatientStep | ActionKind::Withdraw);
        if let Some(number) = self.question.filter(|_| !answers) {
            let expected = "none: this action answers no question";
            return Err(RecordError::value("question", number.to_string(), expected));
        }
        #[expect(clippy::cast_precision_loss, reason = "a time of years in microseconds")]
        let asked_s = self.question.map(|number| number as f64 / 1e6);
        Ok(Action { line: 0, t_s: 0.0, kind, kg: self.kg, note: self.note.clone(), asked_s })
    }
}

/// The entry of an action at a bed.
#[must_use]
pub fn action_entry(bed: &str, at_us: i64, by: &str, once: Option<String>, body: &ActionBody) -> NewEntry {
    NewEntry {
        chain: bed.to_owned(),
        at_us,
        kind: Kind::Action,
        subject: body.action.clone(),
        author: by.to_owned(),
        corrects: None,
        once,
        body: serde_json::to_string(body).unwrap_or_default(),
    }
}

/// What a bed's deck was told from a time on, in order, with the times in µs of UTC. What was taken back is among it: the deck was
/// told that too, and then the opposite, which is on record beside it.
///
/// # Errors
/// The memory refuses; an entry that is no action.
pub fn actions(tx: &mut dyn Transaction, bed: &str, from_us: i64) -> Result<Vec<(i64, Action)>, RecordError> {
    let query = Query {
        chain: Some(bed.to_owned()),
        kind: Some(Kind::Action),
        from_us: Some(from_us),
        history: true,
        ..Query::default()
    };
    let told = journal::entries(tx, &query)?;
    told.iter()
        .filter(|entry| entry.new.body != WITHDRAWN)
        .map(|entry| Ok((entry.new.at_us, action_on_record(entry)?.action()?)))
        .collect()
}

/// The action that an entry tells of.
///
/// # Errors
/// An entry that is no action.
pub fn action_on_record(entry: &Entry) -> Result<ActionBody, RecordError> {
    body_of(entry, "an action")
}
