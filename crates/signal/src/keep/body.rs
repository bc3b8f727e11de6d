//! What a record holds: the ledger, and what the path remembers.

use super::packed::{read_loads_beside, read_rest, rounded_loads, write_loads_beside, write_rest};
use super::pen::{Eye, Pen};
use crate::doubt::Plateau;
use crate::ledger::{ITEMS, Item, Ledger, Mass, OPEN, Open};
use crate::path::Memory;

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
    write_maybe(out, shape, memory.last.as_ref())?;
    out.flag(memory.known_kg.is_some())?;
    if let Some(known_kg) = &memory.known_kg {
        let beside_kg = memory.last.as_ref().map(|last| rounded_loads(&last.cells_kg));
        write_loads_beside(out, shape.n_cells, known_kg, beside_kg.as_ref())?;
    }
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
    let last = read_maybe(eye, shape)?;
    let beside_kg = last.as_ref().map(|last| &last.cells_kg);
    let known_kg = if eye.flag()? { Some(read_loads_beside(eye, n_cells, beside_kg)?) } else { None };
    let mut memory = Memory { last, known_kg, drifts: [false; C] };
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
    write_maybe(out, shape, ledger.tare.as_ref())?;
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
        out.double(item.mass.kg)?;
        out.single(item.mass.u_kg)?;
    }
    out.count(ledger.n_open)?;
    for open in ledger.open() {
        out.double(open.t_s)?;
        out.double(open.mass.kg)?;
        out.single(open.mass.u_kg)?;
        for coordinate in open.place_mm.unwrap_or([f64::NAN; 2]) {
            out.single(coordinate)?;
        }
    }
    Some(())
}

fn read_ledger<const C: usize, const S: usize>(eye: &mut Eye<'_>, shape: Shape) -> Option<Ledger<C, S>> {
    let mut ledger = Ledger::new();
    ledger.tare = read_maybe(eye, shape)?;
    ledger.others_kg = eye.double()?;
    ledger.items_u2 = eye.double()?;
    ledger.lean = eye.mass()?;
    ledger.held = if eye.flag()? { Some(eye.mass()?) } else { None };
    ledger.n_items = eye.count()?;
    if ledger.n_items > ITEMS {
        return None;
    }
    for item in ledger.items.iter_mut().take(ledger.n_items) {
        let id = u16::from_le_bytes(eye.take()?);
        *item = Item { id, mass: Mass { kg: eye.double()?, u_kg: eye.single()? } };
    }
    ledger.n_open = eye.count()?;
    if ledger.n_open > OPEN {
        return None;
    }
    for open in ledger.open.iter_mut().take(ledger.n_open) {
        let (t_s, mass) = (eye.double()?, Mass { kg: eye.double()?, u_kg: eye.single()? });
        let (x_mm, y_mm) = (eye.single()?, eye.single()?);
        *open = Open { t_s, mass, place_mm: (!x_mm.is_nan()).then_some([x_mm, y_mm]) };
    }
    Some(ledger)
}

fn write_maybe<const C: usize, const S: usize>(
    out: &mut Pen<'_>,
    Shape { n_cells, n_sections }: Shape,
    rest: Option<&Plateau<C, S>>,
) -> Option<()> {
    out.flag(rest.is_some())?;
    rest.map_or(Some(()), |rest| write_rest(out, n_cells, n_sections, rest))
}

/// The inner `None`: no plateau was kept.
#[expect(clippy::option_option, reason = "the outer one says that the bytes are no plateau")]
fn read_maybe<const C: usize, const S: usize>(
    eye: &mut Eye<'_>,
    Shape { n_cells, n_sections }: Shape,
) -> Option<Option<Plateau<C, S>>> {
    if !eye.flag()? {
        return Some(None);
    }
    read_rest(eye, n_cells, n_sections).map(Some)
}
