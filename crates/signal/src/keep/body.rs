//! What a record holds: the ledger, and what the path remembers.

use super::pen::{Eye, Pen};
use crate::doubt::Plateau;
use crate::ledger::{ITEMS, Item, Ledger, OPEN, Open};
use crate::path::Memory;
use crate::plateau::Level;

/// Cells and sections of a deck: a record of another deck is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shape {
    pub(super) n_cells: usize,
    pub(super) n_sections: usize,
}

pub(super) fn write<const C: usize, const S: usize>(
    out: &mut Pen<'_>,
    shape: Shape,
    ledger: &Ledger<C, S>,
    memory: &Memory<C, S>,
) -> Option<()> {
    out.count(shape.n_cells)?;
    out.count(shape.n_sections)?;
    write_ledger(out, shape, ledger)?;
    write_rest(out, shape, memory.last.as_ref())?;
    write_rest(out, shape, memory.known.as_ref())?;
    for eight in memory.drifts.get(..shape.n_cells)?.chunks(8) {
        let bits = eight.iter().rev().fold(0_u8, |bits, drifts| bits << 1 | u8::from(*drifts));
        out.put(&[bits])?;
    }
    Some(())
}

pub(super) fn read<const C: usize, const S: usize>(
    eye: &mut Eye<'_>,
    shape: Shape,
) -> Option<(Ledger<C, S>, Memory<C, S>)> {
    let Shape { n_cells, n_sections } = shape;
    if eye.count()? != n_cells || eye.count()? != n_sections || n_cells > C || n_sections > S {
        return None;
    }
    let ledger = read_ledger(eye, shape)?;
    let mut memory = Memory { last: read_rest(eye, shape)?, known: read_rest(eye, shape)?, drifts: [false; C] };
    for eight in memory.drifts.get_mut(..n_cells)?.chunks_mut(8) {
        let [mut bits] = eye.take()?;
        for drifts in eight {
            *drifts = bits & 1 == 1;
            bits >>= 1;
        }
    }
    Some((ledger, memory))
}

fn write_ledger<const C: usize, const S: usize>(out: &mut Pen<'_>, shape: Shape, ledger: &Ledger<C, S>) -> Option<()> {
    write_rest(out, shape, ledger.tare.as_ref())?;
    for number in [ledger.others_kg, ledger.items_u2, ledger.lean.kg, ledger.lean.u_kg] {
        out.double(number)?;
    }
    out.flag(ledger.held.is_some())?;
    if let Some(held) = ledger.held {
        out.mass(held)?;
    }
    out.count(ledger.n_items)?;
    for item in ledger.items() {
        out.put(&item.id.to_le_bytes())?;
        out.mass(item.mass)?;
    }
    out.count(ledger.n_open)?;
    for open in ledger.open() {
        out.double(open.t_s)?;
        out.mass(open.mass)?;
        for coordinate in open.place_mm.unwrap_or([f64::NAN; 2]) {
            out.single(coordinate)?;
        }
    }
    Some(())
}

fn read_ledger<const C: usize, const S: usize>(eye: &mut Eye<'_>, shape: Shape) -> Option<Ledger<C, S>> {
    let mut ledger = Ledger::new();
    ledger.tare = read_rest(eye, shape)?;
    ledger.others_kg = eye.double()?;
    ledger.items_u2 = eye.double()?;
    ledger.lean = eye.mass()?;
    ledger.held = if eye.flag()? { Some(eye.mass()?) } else { None };
    ledger.n_items = eye.count()?;
    if ledger.n_items > ITEMS {
        return None;
    }
    for item in ledger.items.iter_mut().take(ledger.n_items) {
        *item = Item { id: u16::from_le_bytes(eye.take()?), mass: eye.mass()? };
    }
    ledger.n_open = eye.count()?;
    if ledger.n_open > OPEN {
        return None;
    }
    for open in ledger.open.iter_mut().take(ledger.n_open) {
        let (t_s, mass, x_mm, y_mm) = (eye.double()?, eye.mass()?, eye.single()?, eye.single()?);
        *open = Open { t_s, mass, place_mm: (!x_mm.is_nan()).then_some([x_mm, y_mm]) };
    }
    Some(ledger)
}

/// A plateau, or that there is none; shares, angles and temperature in single precision, for they only serve the uncertainty.
fn write_rest<const C: usize, const S: usize>(
    out: &mut Pen<'_>,
    shape: Shape,
    rest: Option<&Plateau<C, S>>,
) -> Option<()> {
    out.flag(rest.is_some())?;
    let Some(rest) = rest else { return Some(()) };
    for number in [rest.level.t_s, rest.level.kg, rest.level.slope_kg_s, rest.level.u_kg, rest.level.u_slope_kg_s] {
        out.double(number)?;
    }
    let cells = rest.cells_kg.iter().take(shape.n_cells);
    for number in cells.chain(rest.tilt_deg.iter().take(shape.n_sections)) {
        out.single(*number)?;
    }
    out.single(rest.stand_in_u_kg)?;
    out.single(rest.temperature_c.unwrap_or(f64::NAN))
}

/// The inner `None`: no plateau was kept.
#[expect(clippy::option_option, reason = "the outer one says that the bytes are no plateau")]
fn read_rest<const C: usize, const S: usize>(eye: &mut Eye<'_>, shape: Shape) -> Option<Option<Plateau<C, S>>> {
    if !eye.flag()? {
        return Some(None);
    }
    let level = Level {
        t_s: eye.double()?,
        kg: eye.double()?,
        slope_kg_s: eye.double()?,
        u_kg: eye.double()?,
        u_slope_kg_s: eye.double()?,
    };
    let mut rest = Plateau { level, cells_kg: [0.0; C], tilt_deg: [0.0; S], temperature_c: None, stand_in_u_kg: 0.0 };
    let cells = rest.cells_kg.iter_mut().take(shape.n_cells);
    for number in cells.chain(rest.tilt_deg.iter_mut().take(shape.n_sections)) {
        *number = eye.single()?;
    }
    rest.stand_in_u_kg = eye.single()?;
    let temperature_c = eye.single()?;
    rest.temperature_c = (!temperature_c.is_nan()).then_some(temperature_c);
    Some(Some(rest))
}
