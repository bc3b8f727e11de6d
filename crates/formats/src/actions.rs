//! `actions.csv`: what people did at the bed.

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
}
