//! A plateau in two bytes a cell: what it serves is the uncertainty, a centre of load and what stands in for a failed cell.
//!
//! What is summed up (level and time) is kept to the bit. Loads of cells are whole multiples of a step, a power of two kilograms that is the smallest with
//! which the largest fits 16 bits: the error is at most 1/32 768 of the largest cell's load, 0.25 g where that bears 15 kg. Angles are whole multiples of
//! 1/256 °, scatter, slope, stand-in and temperature IEEE 754 single. Rounding twice is rounding once: what was rounded comes back to the bit.

use super::pen::{Eye, Pen};
use crate::doubt::Plateau;
use crate::plateau::Level;

/// Steps of a degree.
const PER_DEGREE: f64 = 256.0;
/// The smallest step of a load has this exponent of two, kg: below a milligram there is nothing to tell.
const EXPONENT_LEAST: i32 = -20;
/// The largest: no cell bears 2^30 kg.
const EXPONENT_MOST: i32 = 15;

/// As it comes back once it was kept.
#[must_use]
pub fn rounded<const C: usize, const S: usize>(rest: &Plateau<C, S>) -> Plateau<C, S> {
    let Level { t_s, kg, slope_kg_s, u_kg, u_slope_kg_s } = rest.level;
    let level =
        Level { t_s, kg, slope_kg_s: single(slope_kg_s), u_kg: single(u_kg), u_slope_kg_s: single(u_slope_kg_s) };
    Plateau {
        level,
        cells_kg: rounded_loads(&rest.cells_kg),
        tilt_deg: rest.tilt_deg.map(|deg| f64::from(steps(deg * PER_DEGREE)) / PER_DEGREE),
        temperature_c: rest.temperature_c.map(single),
        stand_in_u_kg: single(rest.stand_in_u_kg),
    }
}

/// Loads of cells as they come back once they were kept, kg.
#[must_use]
pub fn rounded_loads<const C: usize>(cells_kg: &[f64; C]) -> [f64; C] {
    let step_kg = libm::ldexp(1.0, exponent(cells_kg));
    cells_kg.map(|kg| step_kg * f64::from(steps(kg / step_kg)))
}

/// Rounded to single precision.
#[expect(clippy::cast_possible_truncation, reason = "rounding is what this does")]
pub(crate) fn single(x: f64) -> f64 {
    f64::from(x as f32)
}

#[expect(clippy::cast_possible_truncation, reason = "what is beyond 16 bits stays at their end")]
fn steps(x: f64) -> i16 {
    libm::round(x) as i16
}

/// Exponent of the smallest step with which the largest load fits 16 bits.
fn exponent(cells_kg: &[f64]) -> i32 {
    let most_kg = cells_kg.iter().filter(|kg| kg.is_finite()).fold(0.0_f64, |most, kg| most.max(kg.abs()));
    // most = f 2^x with ½ ≤ f < 1, so that f 2^15 is within 16 bits unless it is rounded up to 2^15.
    let (part, power) = libm::frexp(most_kg);
    let up = i32::from(libm::round(libm::ldexp(part, 15)) > f64::from(i16::MAX));
    (power - 15 + up).clamp(EXPONENT_LEAST, EXPONENT_MOST)
}

pub(super) fn write_loads(out: &mut Pen<'_>, n_cells: usize, cells_kg: &[f64]) -> Option<()> {
    let exponent = exponent(cells_kg);
    out.put(&i8::try_from(exponent).ok()?.to_le_bytes())?;
    let step_kg = libm::ldexp(1.0, exponent);
    cells_kg.get(..n_cells)?.iter().try_for_each(|kg| out.put(&steps(kg / step_kg).to_le_bytes()))
}

pub(super) fn read_loads<const C: usize>(eye: &mut Eye<'_>, n_cells: usize) -> Option<[f64; C]> {
    let step_kg = libm::ldexp(1.0, i32::from(i8::from_le_bytes(eye.take()?)));
    let mut cells_kg = [0.0; C];
    for kg in cells_kg.get_mut(..n_cells)? {
        *kg = step_kg * f64::from(i16::from_le_bytes(eye.take()?));
    }
    Some(cells_kg)
}

/// What cells bore at another time: as small differences where it was much the same, see [`read_loads_beside`].
pub(super) fn write_loads_beside<const C: usize>(
    out: &mut Pen<'_>,
    n_cells: usize,
    cells_kg: &[f64; C],
    beside_kg: Option<&[f64; C]>,
) -> Option<()> {
    let exponent = exponent(cells_kg);
    let step_kg = libm::ldexp(1.0, exponent);
    let of_one_step = beside_kg.filter(|beside_kg| self::exponent(*beside_kg) == exponent);
    let mut moved = [0_i8; C];
    let is_small = of_one_step.is_some_and(|beside_kg| {
        moved.iter_mut().zip(cells_kg.iter().zip(beside_kg)).all(|(to, (kg, beside_kg))| {
            let by = i32::from(steps(kg / step_kg)) - i32::from(steps(beside_kg / step_kg));
            i8::try_from(by).map(|by| *to = by).is_ok()
        })
    });
    out.flag(is_small)?;
    if is_small {
        return moved.get(..n_cells)?.iter().try_for_each(|by| out.put(&by.to_le_bytes()));
    }
    write_loads(out, n_cells, cells_kg)
}

/// A flag: 1 for a byte a cell, steps more than at the other time; 0 for loads by themselves.
pub(super) fn read_loads_beside<const C: usize>(
    eye: &mut Eye<'_>,
    n_cells: usize,
    beside_kg: Option<&[f64; C]>,
) -> Option<[f64; C]> {
    if !eye.flag()? {
        return read_loads(eye, n_cells);
    }
    let mut cells_kg = *beside_kg?;
    let step_kg = libm::ldexp(1.0, exponent(&cells_kg));
    for kg in cells_kg.get_mut(..n_cells)? {
        *kg += step_kg * f64::from(i8::from_le_bytes(eye.take()?));
    }
    Some(cells_kg)
}

pub(super) fn write_rest<const C: usize, const S: usize>(
    out: &mut Pen<'_>,
    n_cells: usize,
    n_sections: usize,
    rest: &Plateau<C, S>,
) -> Option<()> {
    out.double(rest.level.t_s)?;
    out.double(rest.level.kg)?;
    for number in [rest.level.slope_kg_s, rest.level.u_kg, rest.level.u_slope_kg_s, rest.stand_in_u_kg] {
        out.single(number)?;
    }
    out.single(rest.temperature_c.unwrap_or(f64::NAN))?;
    for deg in rest.tilt_deg.get(..n_sections)? {
        out.put(&steps(deg * PER_DEGREE).to_le_bytes())?;
    }
    write_loads(out, n_cells, &rest.cells_kg)
}

pub(super) fn read_rest<const C: usize, const S: usize>(
    eye: &mut Eye<'_>,
    n_cells: usize,
    n_sections: usize,
) -> Option<Plateau<C, S>> {
    let level = Level {
        t_s: eye.double()?,
        kg: eye.double()?,
        slope_kg_s: eye.single()?,
        u_kg: eye.single()?,
        u_slope_kg_s: eye.single()?,
    };
    let (stand_in_u_kg, temperature_c) = (eye.single()?, eye.single()?);
    let mut tilt_deg = [0.0; S];
    for deg in tilt_deg.get_mut(..n_sections)? {
        *deg = f64::from(i16::from_le_bytes(eye.take()?)) / PER_DEGREE;
    }
    let temperature_c = (!temperature_c.is_nan()).then_some(temperature_c);
    Some(Plateau { level, cells_kg: read_loads(eye, n_cells)?, tilt_deg, temperature_c, stand_in_u_kg })
}

/// A plateau for what a caller keeps beside; gives its length in bytes, 37 and two for each cell and section. `None` where the buffer is shorter or
/// there are more cells or sections than the plateau has.
pub fn pack<const C: usize, const S: usize>(
    rest: &Plateau<C, S>,
    n_cells: usize,
    n_sections: usize,
    buffer: &mut [u8],
) -> Option<usize> {
    let mut out = Pen { buffer, at: 0 };
    write_rest(&mut out, n_cells, n_sections, rest)?;
    Some(out.at)
}

/// The plateau that [`pack`] packed; `None` for bytes that are none of a deck with so many cells and sections.
#[must_use]
pub fn unpack<const C: usize, const S: usize>(
    bytes: &[u8],
    n_cells: usize,
    n_sections: usize,
) -> Option<Plateau<C, S>> {
    let mut eye = Eye { bytes, at: 0 };
    let rest = read_rest(&mut eye, n_cells, n_sections)?;
    (eye.at == bytes.len()).then_some(rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loads_that_hardly_moved_take_a_byte_each_and_come_back_the_same() {
        let was = rounded_loads(&[12.0, 3.0, 0.0, 7.5]);
        for (moved_kg, bytes) in [(0.03, 5), (-0.03, 5), (0.2, 10), (20.0, 10)] {
            let is = rounded_loads(&was.map(|kg| kg + moved_kg));
            let mut buffer = [0; 16];
            let mut out = Pen { buffer: &mut buffer, at: 0 };
            write_loads_beside(&mut out, 4, &is, Some(&was)).unwrap();
            assert_eq!(out.at, bytes, "{moved_kg}");
            let mut eye = Eye { bytes: &buffer, at: 0 };
            assert_eq!(read_loads_beside(&mut eye, 4, Some(&was)), Some(is));
            let mut eye = Eye { bytes: &buffer, at: 0 };
            assert_eq!(read_loads_beside::<4>(&mut eye, 4, None).is_some(), bytes == 10);
        }
    }

    #[test]
    fn a_load_is_kept_to_half_a_step_of_the_largest_and_rounding_again_changes_nothing() {
        // The largest just below, at and just above a power of two, where the step changes; nothing at all; next to nothing.
        for most in [15.999_9, 16.0, 16.000_3, 15.999_76, 0.0, 1e-9, 47.3] {
            let kg = [most, -0.37 * most, 0.001_234_5, 0.1];
            let once = rounded_loads(&kg);
            let half_step = 0.5 * most.max(0.1) / 16_383.0;
            assert!(kg.iter().zip(once).all(|(a, b)| (a - b).abs() <= half_step), "{kg:?} {once:?}");
            assert_eq!(once.map(f64::to_bits), rounded_loads(&once).map(f64::to_bits));
        }
        let wild = rounded_loads(&[f64::NAN, f64::INFINITY, 1e300, -1.0]);
        assert!(wild.iter().all(|kg| kg.is_finite()));
    }

    #[test]
    fn a_packed_plateau_of_24_cells_has_the_bytes_that_are_stated() {
        let level = Level { t_s: 3600.1, kg: 93.123_456_789, slope_kg_s: 1e-6, u_kg: 0.003, u_slope_kg_s: 1e-5 };
        let rest = Plateau::<48, 8> {
            level,
            cells_kg: core::array::from_fn(|i| if i < 24 { 0.31 * f64::from(i as u32) } else { 0.0 }),
            tilt_deg: [30.3, -2.2, 0.0, 12.7, 0.0, 0.0, 0.0, 0.0],
            temperature_c: Some(21.3),
            stand_in_u_kg: 0.1,
        };
        let mut buffer = [0; 256];
        let n = pack(&rest, 24, 4, &mut buffer).unwrap();
        assert_eq!(n, 37 + 2 * (24 + 4));
        let back: Plateau<48, 8> = unpack(&buffer[..n], 24, 4).unwrap();
        assert_eq!(back, rounded(&rest));
        assert_eq!((back.level.t_s, back.level.kg), (rest.level.t_s, rest.level.kg));
        assert!(unpack::<48, 8>(&buffer[..n], 23, 4).is_none() && unpack::<48, 8>(&buffer[..n - 1], 24, 4).is_none());
        assert_eq!(pack(&rest, 24, 4, &mut buffer[..n - 1]), None);
        assert_eq!(pack(&rest, 49, 4, &mut buffer), None);
    }
}
