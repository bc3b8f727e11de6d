//! Who bears what of the load: tare, items, lean, open questions — and the rest is the patient.
//!
//! patient = total − tare − Σ items − lean − Σ open. Every amount was taken from a change of the total, so giving one to another
//! account never changes the sum.
//!
//! | symbol | name      | unit |
//! |--------|-----------|------|
//! | tare   | `tare`    | the deck at rest when it was taken |
//! | items  | `items_kg`| kg, net of what came and went since the tare |
//! | lean   | `lean_kg` | kg, what a raised section's leaning reaction adds, seen when it was raised |
//! | open   | `open`    | kg, changes that no action explains |

use signal::doubt;

use crate::setup::{PathConfig, Rest};

/// A change that waits for its explanation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Open {
    /// When it was seen, s.
    pub(crate) t_s: f64,
    /// Its size, kg.
    pub(crate) kg: f64,
    /// Standard uncertainty of the size, kg.
    pub(crate) u_kg: f64,
    /// Where on the bed, mm.
    pub(crate) place_mm: Option<[f64; 2]>,
}

/// The accounts.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Account {
    tare: Option<Rest>,
    items_kg: f64,
    items_u2: f64,
    lean_kg: f64,
    lean_u_kg: f64,
    open: Vec<Open>,
}

impl Account {
    /// Takes what lies on the deck as tare and closes all other accounts.
    pub(crate) fn take_tare(&mut self, rest: Rest) {
        *self = Self { tare: Some(rest), ..Self::default() };
    }

    /// The deck when the tare was taken.
    pub(crate) fn tare(&self) -> Option<&Rest> {
        self.tare.as_ref()
    }

    /// Net mass of the items, kg.
    pub(crate) fn items_kg(&self) -> f64 {
        self.items_kg
    }

    /// Changes that no action explains.
    pub(crate) fn open(&self) -> &[Open] {
        &self.open
    }

    /// Sum of the changes that no action explains, kg.
    pub(crate) fn open_kg(&self) -> f64 {
        self.open.iter().map(|open| open.kg).sum()
    }

    /// Total less tare and items, kg; `None` without a tare.
    pub(crate) fn net_kg(&self, total_kg: f64) -> Option<f64> {
        self.tare.as_ref().map(|tare| total_kg - tare.level.kg - self.items_kg)
    }

    /// Mass of the patient, kg; `None` without a tare.
    pub(crate) fn patient_kg(&self, total_kg: f64) -> Option<f64> {
        self.net_kg(total_kg).map(|net| net - self.lean_kg - self.open_kg())
    }

    /// Standard uncertainty of the patient's mass, kg; `None` without a tare.
    pub(crate) fn u_kg(&self, config: &PathConfig, now: &Rest) -> Option<f64> {
        let parts = doubt::between(config, self.tare.as_ref()?, now);
        let own = doubt::Parts { lean_kg: 0.0, angle_kg: 0.0, ..parts }.total_kg();
        let open_2: f64 = self.open.iter().map(|open| open.kg * open.kg).sum();
        Some((own * own + self.items_u2 + self.lean_u_kg * self.lean_u_kg + open_2).sqrt())
    }

    /// Puts an amount on the items.
    pub(crate) fn add_item(&mut self, kg: f64, u_kg: f64) {
        self.items_kg += kg;
        self.items_u2 += u_kg * u_kg;
    }

    /// Opens a question.
    pub(crate) fn ask(&mut self, open: Open) {
        self.open.push(open);
    }

    /// Closes a question and gives its change back.
    pub(crate) fn answer(&mut self, index: usize) -> Option<Open> {
        (index < self.open.len()).then(|| self.open.remove(index))
    }

    /// Closes the newest `n` questions.
    pub(crate) fn drop_newest(&mut self, n: usize) {
        self.open.truncate(self.open.len().saturating_sub(n));
    }

    /// Closes all questions.
    pub(crate) fn drop_open(&mut self) {
        self.open.clear();
    }

    /// What a raised section adds, kg.
    pub(crate) fn lean_kg(&self) -> f64 {
        self.lean_kg
    }

    /// Standard uncertainty of a lean that was there when the patient came, kg.
    pub(crate) fn lean_u_kg(&self) -> f64 {
        self.lean_u_kg
    }

    /// Sets the lean, and how uncertain it leaves the patient's mass.
    pub(crate) fn set_lean(&mut self, kg: f64, u_kg: f64) {
        self.lean_kg = kg;
        self.lean_u_kg = u_kg;
    }
}
