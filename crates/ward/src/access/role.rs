//! Who may do what.

use serde::{Deserialize, Serialize};

/// What an account is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Looks.
    Viewer,
    /// Cares for patients: actions at the bed, the chart, answers.
    Nurse,
    /// Cares for decks; at a bed what a nurse does. Decks and calibrations come from the ward file.
    Engineer,
    /// Gives accounts their roles, and keeps the ward's records.
    Administrator,
}

/// What may be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Right {
    /// See weights, charts, events.
    See,
    /// Act at a bed, chart volumes, admit and discharge, answer alerts.
    Care,
    /// Make accounts, change roles, unlock; see the audit trail.
    Manage,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 4] = [Self::Viewer, Self::Nurse, Self::Engineer, Self::Administrator];

    /// Whether this role may do that. An administrator keeps accounts and records and cares for nobody: what is done at a
    /// bed is done under the name of who did it.
    #[must_use]
    pub fn may(self, right: Right) -> bool {
        match right {
            Right::See => true,
            Right::Care => matches!(self, Self::Nurse | Self::Engineer),
            Right::Manage => self == Self::Administrator,
        }
    }

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Viewer => "viewer",
            Self::Nurse => "nurse",
            Self::Engineer => "engineer",
            Self::Administrator => "administrator",
        }
    }

    /// The role of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}
