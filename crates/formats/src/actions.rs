//! `actions.csv`: what people did at the bed.
//!
//! Only `add`, `remove` and `patient_step` have a meaning for `kg`; with another action it is handed on as it stands. `asked_s` names the open
//! question that `add`, `remove`, `patient_step` or `withdraw` answers, by the time of its event, s; without it the size tells.

use crate::limits::Limits;
use crate::table::Table;
use crate::{Problems, csv_writer, words};

/// One action.
#[derive(Debug, Clone, PartialEq)]
pub struct Action {
    /// Line of the file, from 1.
    pub line: usize,
    /// Time since the start, s.
    pub t_s: f64,
    /// What was done.
    pub kind: ActionKind,
    /// Mass, kg, where stated.
    pub kg: Option<f64>,
    /// A note.
    pub note: String,
    /// Time of the open question that this answers, s, where one was named.
    pub asked_s: Option<f64>,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ActionKind {
    /// No patient on the deck; all that lies there becomes tare.
    Tare,
    /// The patient came.
    PatientOn,
    /// The patient left.
    PatientOff,
    /// Something other than the patient came onto the deck.
    Add,
    /// Something other than the patient left it.
    Remove,
    /// Care begins: keep the last weight.
    Hold,
    /// Care ends: what the load did in between is judged now.
    Release,
    /// A change that was asked about was the patient's own (a drink, a drain's bag emptied, fluid lost past the deck); `kg`, with its sign left
    /// out, says which where several are open.
    PatientStep,
    /// What was entered and has not come about does not count: the thing that `asked_s` asks about, else a tare that waits for rest.
    Withdraw,
}

const WORDS: &words::Words<ActionKind> = &[
    ("tare", ActionKind::Tare),
    ("patient_on", ActionKind::PatientOn),
    ("patient_off", ActionKind::PatientOff),
    ("add", ActionKind::Add),
    ("remove", ActionKind::Remove),
    ("hold", ActionKind::Hold),
    ("release", ActionKind::Release),
    ("patient_step", ActionKind::PatientStep),
    ("withdraw", ActionKind::Withdraw),
];

impl ActionKind {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        words::word(WORDS, &self)
    }

    /// The action of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        words::meaning(WORDS, word)
    }

    /// Every word.
    pub fn all() -> impl Iterator<Item = &'static str> {
        WORDS.iter().map(|(word, _)| *word)
    }
}

/// The most that may come onto a bed or leave it at once, kg: no more than the heaviest patient that a deck file may state.
pub const ITEM_MOST_KG: f64 = 700.0;
const ITEM_KG: Limits = Limits::between(0.0, ITEM_MOST_KG);

/// Reads actions, in the order of time. Several may bear the same time.
///
/// # Errors
/// Missing columns, words that are no action, a time that runs backwards, a mass that is none.
pub fn read(file: &str, text: &str) -> Result<Vec<Action>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [t_s, action] = table.required(["t_s", "action"])?;
    let (kg, note, asked_s) = (table.optional("kg"), table.optional("note"), table.optional("asked_s"));
    let mut actions = Vec::new();
    let mut last = None;
    while table.next_row()? {
        let time = table.number(t_s, &Limits::ANY);
        table.forward(t_s, time, &mut last, false);
        let kind = table.word(action, WORDS);
        let kg = table.number_opt(kg, &ITEM_KG);
        let asked_s = table.number_opt(asked_s, &Limits::ANY);
        let Some(kind) = kind else { continue };
        let note = table.text(note).to_owned();
        actions.push(Action { line: table.line(), t_s: time, kind, kg, note, asked_s });
    }
    table.check()?;
    Ok(actions)
}

/// The actions as text; [`read`] gives them back.
#[must_use]
pub fn write(actions: &[Action]) -> String {
    let mut out = csv_writer::Rows::new();
    let names_questions = actions.iter().any(|action| action.asked_s.is_some());
    out.row(["t_s", "action", "kg", "note"].into_iter().chain(names_questions.then_some("asked_s")));
    for action in actions {
        out.number(action.t_s);
        out.field(action.kind.word());
        out.number_opt(action.kg);
        out.field(&action.note);
        if names_questions {
            out.number_opt(action.asked_s);
        }
        out.end_row();
    }
    out.finish()
}
