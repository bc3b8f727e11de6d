//! Who bears what of the load: tare, items, lean, open questions — and the remainder.
//!
//! remainder = total − tare − Σ items − lean − Σ open. Every amount was taken from a change of the total (or was stated and stands
//! against one), so giving a change to another account never changes the sum. What the remainder is — a patient — is for the caller to say.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | tare   | `tare`      | the deck at rest when it was taken |
//! | items  | `items_kg`  | kg, net of what came and went since the tare, some of them by number |
//! | lean   | `lean_kg`   | kg, what a raised section's leaning reaction adds, seen when it was raised |
//! | open   | `open`      | kg, changes that nothing explains yet |
//! | held   | `held`      | the last remainder while the load is not to be believed |
//!
//! Capacities are fixed; what no longer fits is added to an account that has room, so no mass is ever lost from the sum.
//! Not here: keeping it through a power cut (see [`crate::keep`]).

use crate::config::Config;
use crate::doubt::{self, Parts, Plateau};
use crate::keep::{rounded, single};

/// Items that are known by number.
pub const ITEMS: usize = 16;
/// Open questions that are known one by one.
pub const OPEN: usize = 8;

/// A mass with its standard uncertainty, kg.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Mass {
    /// The mass, kg.
    pub kg: f64,
    /// Its standard uncertainty, kg.
    pub u_kg: f64,
}

/// Something that lies on the deck besides the remainder.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Item {
    /// Number by which the caller knows it.
    pub id: u16,
    /// Its mass; negative for what was there at the tare and left.
    pub mass: Mass,
}

/// A change that waits for its explanation.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Open {
    /// When it began, s.
    pub t_s: f64,
    /// Its size.
    pub mass: Mass,
    /// Where on the bed, mm.
    pub place_mm: Option<[f64; 2]>,
}

/// Standard uncertainty of the remainder by its parts, kg.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Doubt {
    /// Of the difference to the tare; the lean is what its account leaves open.
    pub parts: Parts,
    /// Of all things that ever came and went.
    pub items_kg: f64,
    /// Of what nothing explains yet: as if it might be the remainder's.
    pub open_kg: f64,
}

impl Doubt {
    /// All parts together, kg.
    #[must_use]
    pub fn total_kg(&self) -> f64 {
        doubt::root_of_squares([self.parts.total_kg(), self.items_kg, self.open_kg])
    }
}

/// The accounts of a deck with room for `C` cells and `S` sections.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ledger<const C: usize, const S: usize> {
    pub(crate) tare: Option<Plateau<C, S>>,
    pub(crate) items: [Item; ITEMS],
    pub(crate) n_items: usize,
    pub(crate) others_kg: f64,
    pub(crate) items_u2: f64,
    pub(crate) lean: Mass,
    pub(crate) open: [Open; OPEN],
    pub(crate) n_open: usize,
    pub(crate) held: Option<Mass>,
}

impl<const C: usize, const S: usize> Ledger<C, S> {
    /// Empty accounts.
    #[must_use]
    pub const fn new() -> Self {
        const NONE: Mass = Mass { kg: 0.0, u_kg: 0.0 };
        Self {
            tare: None,
            items: [Item { id: 0, mass: NONE }; ITEMS],
            n_items: 0,
            others_kg: 0.0,
            items_u2: 0.0,
            lean: NONE,
            open: [Open { t_s: 0.0, mass: NONE, place_mm: None }; OPEN],
            n_open: 0,
            held: None,
        }
    }

    /// Takes what lies on the deck as tare and closes all other accounts.
    ///
    /// Shares and angles are rounded to what is kept of them ([`crate::keep::rounded`]): they only serve the uncertainty.
    pub fn take_tare(&mut self, rest: Plateau<C, S>) {
        *self = Self { tare: Some(rounded(&rest)), ..Self::new() };
    }

    /// The deck when the tare was taken.
    #[must_use]
    pub const fn tare(&self) -> Option<&Plateau<C, S>> {
        self.tare.as_ref()
    }

    /// Total less tare and items, kg; `None` without a tare.
    #[must_use]
    pub fn net_kg(&self, total_kg: f64) -> Option<f64> {
        self.tare.as_ref().map(|tare| total_kg - tare.level.kg - self.items_kg())
    }

    /// What no account bears, kg; `None` without a tare.
    #[must_use]
    pub fn remainder_kg(&self, total_kg: f64) -> Option<f64> {
        self.net_kg(total_kg).map(|net| net - self.lean.kg - self.open_kg())
    }

    /// Standard uncertainty of the remainder, kg; `None` without a tare.
    #[must_use]
    pub fn u_kg<const P: usize>(&self, config: &Config<C, P, S>, now: &Plateau<C, S>) -> Option<f64> {
        self.doubt(config, now).map(|doubt| doubt.total_kg())
    }

    /// That uncertainty by its parts; `None` without a tare.
    #[must_use]
    pub fn doubt<const P: usize>(&self, config: &Config<C, P, S>, now: &Plateau<C, S>) -> Option<Doubt> {
        let parts = doubt::between(config, self.tare.as_ref()?, now);
        let open_2: f64 = self.open().iter().map(|open| open.mass.kg * open.mass.kg).sum();
        Some(Doubt {
            // The lean of now is on its account; what it leaves open there counts.
            parts: Parts { lean_kg: self.lean.u_kg, angle_kg: 0.0, ..parts },
            items_kg: libm::sqrt(self.items_u2),
            open_kg: libm::sqrt(open_2),
        })
    }

    /// Items known by number.
    #[must_use]
    pub fn items(&self) -> &[Item] {
        self.items.get(..self.n_items).unwrap_or(&[])
    }

    /// Net mass of all items, kg.
    #[must_use]
    pub fn items_kg(&self) -> f64 {
        self.others_kg + self.items().iter().map(|item| item.mass.kg).sum::<f64>()
    }

    /// Puts an amount on an item (negative: takes it off). An item that came and went is forgotten; what is left of it is kept.
    pub fn add_item(&mut self, id: u16, mass: Mass) {
        self.items_u2 += mass.u_kg * mass.u_kg;
        let known = self.items.iter_mut().take(self.n_items).enumerate().find(|(_, item)| item.id == id);
        if let Some((index, item)) = known {
            item.mass.kg += mass.kg;
            item.mass.u_kg = single(libm::hypot(item.mass.u_kg, mass.u_kg));
            if item.mass.kg.abs() <= 3.0 * item.mass.u_kg {
                self.others_kg += item.mass.kg;
                remove(&mut self.items, &mut self.n_items, index);
            }
        } else if let Some(slot) = self.items.get_mut(self.n_items) {
            *slot = Item { id, mass: kept(mass) };
            self.n_items += 1;
        } else {
            self.others_kg += mass.kg;
        }
    }

    /// Variance of the items, kg²: of all that ever came and went.
    #[must_use]
    pub const fn items_u2(&self) -> f64 {
        self.items_u2
    }

    /// Puts the items' variance right, where their sum became known better than by adding them up, kg².
    pub fn set_items_u2(&mut self, u2: f64) {
        self.items_u2 = u2.max(0.0);
    }

    /// Puts the sum of the items right, and its variance, kg²: which of them was off, nobody can tell.
    pub fn correct_items(&mut self, kg: f64, u2: f64) {
        self.others_kg += kg;
        self.set_items_u2(u2);
    }

    /// Takes an item off the account with its uncertainty; what it bore falls to the remainder.
    pub fn forget(&mut self, id: u16) -> Option<Item> {
        let index = self.items().iter().position(|item| item.id == id)?;
        let item = self.items().get(index).copied()?;
        self.items_u2 = (self.items_u2 - item.mass.u_kg * item.mass.u_kg).max(0.0);
        remove(&mut self.items, &mut self.n_items, index);
        Some(item)
    }

    /// Changes that nothing explains, oldest first.
    #[must_use]
    pub fn open(&self) -> &[Open] {
        self.open.get(..self.n_open).unwrap_or(&[])
    }

    /// Sum of the changes that nothing explains, kg.
    #[must_use]
    pub fn open_kg(&self) -> f64 {
        // Not `sum`, which calls nothing at all −0.
        self.open().iter().fold(0.0, |sum, open| sum + open.mass.kg)
    }

    /// Opens a question; one too many is added to the newest.
    pub fn ask(&mut self, open: Open) {
        if let Some(slot) = self.open.get_mut(self.n_open) {
            *slot = Open { mass: kept(open.mass), ..open };
            self.n_open += 1;
        } else if let Some(newest) = self.open.last_mut() {
            newest.mass.kg += open.mass.kg;
            newest.mass.u_kg = single(libm::hypot(newest.mass.u_kg, open.mass.u_kg));
            newest.place_mm = None;
        }
    }

    /// Closes a question and gives its change back.
    pub fn answer(&mut self, index: usize) -> Option<Open> {
        let open = self.open().get(index).copied()?;
        remove(&mut self.open, &mut self.n_open, index);
        Some(open)
    }

    /// Closes the newest `n` questions.
    pub fn drop_newest(&mut self, n: usize) {
        for _ in 0..n.min(self.n_open) {
            let last = self.n_open - 1;
            remove(&mut self.open, &mut self.n_open, last);
        }
    }

    /// What a raised section adds, and how uncertain it leaves the remainder.
    #[must_use]
    pub const fn lean(&self) -> Mass {
        self.lean
    }

    /// Sets the lean.
    pub fn set_lean(&mut self, lean: Mass) {
        self.lean = lean;
    }

    /// The remainder that is shown while the load is not to be believed.
    #[must_use]
    pub const fn held(&self) -> Option<Mass> {
        self.held
    }

    /// Holds a remainder.
    pub fn hold(&mut self, held: Mass) {
        self.held = Some(held);
    }

    /// Lets it go.
    pub fn release(&mut self) {
        self.held = None;
    }
}

impl<const C: usize, const S: usize> Default for Ledger<C, S> {
    fn default() -> Self {
        Self::new()
    }
}

/// A mass as it comes back once it was kept: to the bit, its uncertainty to single precision.
fn kept(mass: Mass) -> Mass {
    Mass { u_kg: single(mass.u_kg), ..mass }
}

/// Takes an entry out; the place that falls free is cleared, so that equal accounts are equal to the bit.
fn remove<T: Copy + Default>(entries: &mut [T], count: &mut usize, index: usize) {
    if index < *count && *count <= entries.len() {
        entries.copy_within(index + 1..*count, index);
        *count -= 1;
        if let Some(free) = entries.get_mut(*count) {
            *free = T::default();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plateau::Level;

    const NOTHING: Plateau<4, 1> = Plateau {
        level: Level { t_s: 0.0, kg: 10.0, slope_kg_s: 0.0, u_kg: 0.01, u_slope_kg_s: 0.0 },
        cells_kg: [2.5; 4],
        tilt_deg: [0.0],
        temperature_c: None,
        stand_in_u_kg: 0.0,
    };

    fn ledger() -> Ledger<4, 1> {
        let mut ledger = Ledger::new();
        ledger.take_tare(NOTHING);
        ledger
    }

    #[test]
    fn without_a_tare_there_is_no_remainder() {
        assert_eq!(Ledger::<4, 1>::new().remainder_kg(80.0), None);
    }

    #[test]
    fn accounts_share_the_total_without_rest() {
        let mut ledger = ledger();
        ledger.add_item(1, Mass { kg: 0.8, u_kg: 0.01 });
        ledger.ask(Open { t_s: 5.0, mass: Mass { kg: 0.5, u_kg: 0.01 }, place_mm: None });
        ledger.set_lean(Mass { kg: -0.2, u_kg: 0.0 });
        let rest = ledger.remainder_kg(81.1).unwrap();
        assert!((rest - (81.1 - 10.0 - 0.8 - 0.5 + 0.2)).abs() < 1e-12);
    }

    #[test]
    fn an_item_that_left_is_forgotten_but_not_its_remainder() {
        let mut ledger = ledger();
        ledger.add_item(7, Mass { kg: 0.80, u_kg: 0.01 });
        ledger.add_item(8, Mass { kg: 2.0, u_kg: 0.01 });
        ledger.add_item(7, Mass { kg: -0.79, u_kg: 0.01 });
        assert_eq!(ledger.items().len(), 1);
        assert_eq!(ledger.items()[0].id, 8);
        assert!((ledger.items_kg() - 2.01).abs() < 1e-12);
    }

    #[test]
    fn no_mass_is_lost_when_the_room_runs_out() {
        let mut ledger = ledger();
        for id in 0..40 {
            ledger.add_item(id, Mass { kg: 0.1, u_kg: 0.001 });
            ledger.ask(Open { t_s: f64::from(id), mass: Mass { kg: 0.2, u_kg: 0.01 }, place_mm: None });
        }
        assert!((ledger.items_kg() - 4.0).abs() < 1e-12);
        assert!((ledger.open_kg() - 8.0).abs() < 1e-12);
        assert_eq!((ledger.items().len(), ledger.open().len()), (ITEMS, OPEN));
    }

    #[test]
    fn answered_questions_close_in_any_order() {
        let mut ledger = ledger();
        for kg in [1.0, 2.0, 3.0] {
            ledger.ask(Open { t_s: kg, mass: Mass { kg, u_kg: 0.01 }, place_mm: None });
        }
        assert!((ledger.answer(1).unwrap().mass.kg - 2.0).abs() < 1e-12);
        assert!((ledger.open_kg() - 4.0).abs() < 1e-12);
        assert_eq!(ledger.answer(2), None);
        ledger.drop_newest(1);
        assert!((ledger.open_kg() - 1.0).abs() < 1e-12);
    }
}
