//! How the mass and length of a body are shared among its segments.
//!
//! | quantity | source |
//! |---|---|
//! | mass fraction, centre of mass of each segment, by sex | P. de Leva, J. Biomechanics 29 (1996) 1223–1230, Table 4 (public data files; masses renormalised to 1; the shank from the knee's centre to the lateral malleolus) |
//! | segment lengths at mean stature (M 1741 mm, F 1735 mm) | the same (from memory) |
//! | ankle above the sole, 0.039 of stature | Drillis & Contini 1966, in D. Winter, Biomechanics (from memory) |
//! | head mass fraction of a child, 0.2376 − 0.0114 · age | R. Jensen, J. Biomechanics 19 (1986) 359–368 |
//!
//! Adults: lengths scale with stature, mass fractions do not change with mass (a very heavy person carries more at the
//! trunk than this says). Children, under [`ADULT_STATURE_M`]: the head's share rises to Jensen's, read at the usual
//! stature of the age (0.50 m at birth, 1.03 m at 4 years, 1.28 m at 8 years: memory), and what the head gains the limbs
//! lose in proportion, as his data show; head and leg lengths go linearly with that share to a quarter and 0.38 of the
//! stature at birth (memory).

/// Stature from which a person is laid as an adult, m (the adult of IEC 60601-2-52 is at least 146 cm tall; memory).
pub const ADULT_STATURE_M: f64 = 1.46;
/// Masses accepted, kg.
pub const MASS_RANGE_KG: [f64; 2] = [0.4, 450.0];
/// Statures accepted, m.
pub const STATURE_RANGE_M: [f64; 2] = [0.25, 2.6];

/// Height of the ankle above the sole, share of stature.
const ANKLE: f64 = 0.039;
/// Shoulder below the suprasternale, m, at [`table_stature_m`].
const SHOULDER_BELOW_M: f64 = 0.020;
/// Head mass share at birth (Jensen, age 0).
const NEWBORN_HEAD: f64 = 0.2376;
/// Head share by stature below the adult, after Jensen at 0, 4 and 8 years.
const CHILD_HEAD: [(f64, f64); 3] = [(0.50, NEWBORN_HEAD), (1.03, 0.1920), (1.28, 0.1464)];
/// Height of the hip above the sole at birth, share of stature.
const NEWBORN_HIP: f64 = 0.38;
/// Height of the suprasternale above the hip at birth, share of stature.
const NEWBORN_TRUNK: f64 = 0.34;
/// Length of the head from vertex to mid-gonion at birth, share of stature (a quarter of it to the chin).
const NEWBORN_HEAD_LENGTH: f64 = 0.23;

/// Sex, as the tables need it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

/// A person as far as lying on a bed asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Person {
    /// Mass, kg, within [`MASS_RANGE_KG`].
    pub mass_kg: f64,
    /// Stature (length of a child), m, within [`STATURE_RANGE_M`].
    pub stature_m: f64,
    /// Sex.
    pub sex: Sex,
}

/// Part of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Head and neck.
    Head,
    /// Chest, suprasternale to xiphion.
    UpperTrunk,
    /// Xiphion to navel.
    MiddleTrunk,
    /// Navel to mid-hip.
    LowerTrunk,
    /// Shoulder to elbow.
    UpperArm,
    /// Elbow to wrist.
    Forearm,
    /// Wrist to knuckle.
    Hand,
    /// Hip to knee.
    Thigh,
    /// Knee to ankle.
    Shank,
    /// Foot.
    Foot,
}

impl Part {
    /// Whether there are two of it.
    pub fn is_paired(self) -> bool {
        !matches!(self, Part::Head | Part::UpperTrunk | Part::MiddleTrunk | Part::LowerTrunk)
    }
}

/// One segment (one of two for a limb), lying along the bed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Which.
    pub part: Part,
    /// Mass of one, kg.
    pub mass_kg: f64,
    /// Length, m.
    pub length_m: f64,
    /// Its end nearest the head, m above the hip joint towards the head (negative: below).
    pub top_m: f64,
    /// Its centre of mass from that end, share of length.
    pub center: f64,
}

impl Segment {
    /// Centre of mass above the hip joint, towards the head, m.
    pub fn center_above_hip_m(&self) -> f64 {
        self.top_m - self.center * self.length_m
    }
}

/// Why a person cannot be laid.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BodyError {
    /// Mass out of range or not a number.
    #[error("body mass {mass_kg} kg, expected {} to {} kg", MASS_RANGE_KG[0], MASS_RANGE_KG[1])]
    Mass {
        /// What was given.
        mass_kg: f64,
    },
    /// Stature out of range or not a number.
    #[error("stature {stature_m} m, expected {} to {} m", STATURE_RANGE_M[0], STATURE_RANGE_M[1])]
    Stature {
        /// What was given.
        stature_m: f64,
    },
    /// The bed has no section, or one of no length or no width.
    #[error(
        "bed of {n_sections} sections, {length_m} m by {width_m} m, expected sections of positive length and a positive width"
    )]
    Bed {
        /// Sections.
        n_sections: usize,
        /// Length, m.
        length_m: f64,
        /// Width, m.
        width_m: f64,
    },
}

/// A row of the table: part, share of mass, centre of mass from the end nearest the head, length in m at the table's stature.
type Row = (Part, f64, f64, f64);

const MALE: [Row; 10] = [
    (Part::Head, 0.0694, 0.5976, 0.203),
    (Part::UpperTrunk, 0.1596, 0.2999, 0.171),
    (Part::MiddleTrunk, 0.1633, 0.4502, 0.216),
    (Part::LowerTrunk, 0.1117, 0.6115, 0.146),
    (Part::UpperArm, 0.0271, 0.5772, 0.282),
    (Part::Forearm, 0.0162, 0.4574, 0.269),
    (Part::Hand, 0.0061, 0.7900, 0.086),
    (Part::Thigh, 0.1416, 0.4095, 0.422),
    (Part::Shank, 0.0433, 0.4459, 0.434),
    (Part::Foot, 0.0137, 0.4415, 0.258),
];

const FEMALE: [Row; 10] = [
    (Part::Head, 0.0668, 0.5894, 0.200),
    (Part::UpperTrunk, 0.1545, 0.2077, 0.143),
    (Part::MiddleTrunk, 0.1465, 0.4512, 0.205),
    (Part::LowerTrunk, 0.1247, 0.4920, 0.182),
    (Part::UpperArm, 0.0255, 0.5754, 0.275),
    (Part::Forearm, 0.0138, 0.4559, 0.264),
    (Part::Hand, 0.0056, 0.7474, 0.078),
    (Part::Thigh, 0.1478, 0.3612, 0.369),
    (Part::Shank, 0.0481, 0.4416, 0.432),
    (Part::Foot, 0.0129, 0.4014, 0.228),
];

/// Stature at which the table's lengths hold, m.
pub fn table_stature_m(sex: Sex) -> f64 {
    match sex {
        Sex::Male => 1.741,
        Sex::Female => 1.735,
    }
}

/// Suprasternale to mid-hip, m; the rounded lengths of the three parts add up to 1 mm more.
fn whole_trunk_m(sex: Sex) -> f64 {
    match sex {
        Sex::Male => 0.532,
        Sex::Female => 0.529,
    }
}

fn table(sex: Sex) -> &'static [Row; 10] {
    match sex {
        Sex::Male => &MALE,
        Sex::Female => &FEMALE,
    }
}

/// Share of a row in the whole body, both limbs counted.
fn share_of_body((part, fraction, ..): &Row) -> f64 {
    if part.is_paired() { 2.0 * fraction } else { *fraction }
}

/// The head's share of the body at a stature.
fn head_share(adult: f64, stature_m: f64) -> f64 {
    let knots = [CHILD_HEAD[0], CHILD_HEAD[1], CHILD_HEAD[2], (ADULT_STATURE_M, adult)];
    if stature_m <= knots[0].0 {
        return knots[0].1;
    }
    for pair in knots.windows(2) {
        let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
        if stature_m < x1 {
            return y0 + (y1 - y0) * (stature_m - x0) / (x1 - x0);
        }
    }
    adult
}

/// The segments of a person, in the order of the table; a limb stands for one of two.
///
/// Masses (limbs doubled) add up to the person's mass to rounding.
///
/// # Errors
/// Mass or stature out of range.
pub fn segments(person: &Person) -> Result<Vec<Segment>, BodyError> {
    let Person { mass_kg, stature_m, sex } = *person;
    if !(MASS_RANGE_KG[0]..=MASS_RANGE_KG[1]).contains(&mass_kg) {
        return Err(BodyError::Mass { mass_kg });
    }
    if !(STATURE_RANGE_M[0]..=STATURE_RANGE_M[1]).contains(&stature_m) {
        return Err(BodyError::Stature { stature_m });
    }
    let rows = table(sex);
    let sum: f64 = rows.iter().map(share_of_body).sum();
    let adult_head = rows[0].1 / sum;
    let head = head_share(adult_head, stature_m);
    let limbs: f64 = rows.iter().filter(|r| r.0.is_paired()).map(share_of_body).sum::<f64>() / sum;
    let limb_factor = 1.0 - (head - adult_head) / limbs;
    let youth = (head - adult_head) / (NEWBORN_HEAD - adult_head);
    let shape = Shape::new(sex, stature_m, youth);
    let mut upper_end = shape.start();
    Ok(rows
        .iter()
        .map(|&(part, fraction, center, table_length)| {
            let share = match part {
                Part::Head => head,
                _ if part.is_paired() => fraction / sum * limb_factor,
                _ => fraction / sum,
            };
            let (top_m, length_m) = shape.span(part, table_length, &mut upper_end);
            let center = if part == Part::Foot { 0.5 } else { center };
            Segment { part, mass_kg: share * mass_kg, length_m, top_m, center }
        })
        .collect())
}

/// Lengths of one body: adult proportions, drawn to a child's by `youth` (0 adult, 1 newborn).
struct Shape {
    stature_m: f64,
    /// Of limbs and trunk parts, against the table.
    leg_scale: f64,
    trunk_scale: f64,
    arm_scale: f64,
    head_length_m: f64,
    hip_height_m: f64,
    trunk_m: f64,
    shoulder_m: f64,
}

/// Running upper ends of the chains arm and leg, m above the hip.
struct Chains {
    trunk: f64,
    arm: f64,
    leg: f64,
}

impl Shape {
    fn new(sex: Sex, stature_m: f64, youth: f64) -> Self {
        let rows = table(sex);
        let scale = stature_m / table_stature_m(sex);
        let length = |part: Part| rows.iter().find(|r| r.0 == part).map_or(0.0, |r| r.3);
        let blend = |adult: f64, newborn: f64| adult + youth * (newborn * stature_m - adult);
        let leg_table = length(Part::Thigh) + length(Part::Shank);
        let ankle_m = ANKLE * stature_m;
        let hip_height_m = blend(leg_table * scale + ankle_m, NEWBORN_HIP);
        let trunk_table = length(Part::UpperTrunk) + length(Part::MiddleTrunk) + length(Part::LowerTrunk);
        let trunk_m = blend(whole_trunk_m(sex) * scale, NEWBORN_TRUNK);
        Shape {
            stature_m,
            leg_scale: (hip_height_m - ankle_m) / leg_table,
            trunk_scale: trunk_m / trunk_table,
            arm_scale: scale,
            head_length_m: blend(length(Part::Head) * scale, NEWBORN_HEAD_LENGTH),
            hip_height_m,
            trunk_m,
            shoulder_m: trunk_m - SHOULDER_BELOW_M * scale,
        }
    }

    fn start(&self) -> Chains {
        Chains { trunk: self.trunk_m, arm: self.shoulder_m, leg: 0.0 }
    }

    /// Upper end above the hip and length of a part; parts of a chain come from the body outward.
    fn span(&self, part: Part, table_length_m: f64, chains: &mut Chains) -> (f64, f64) {
        let (end, length) = match part {
            Part::Head => return (self.stature_m - self.hip_height_m, self.head_length_m),
            // The foot of a supine person stands up: along the bed it reaches from the ankle to the sole.
            Part::Foot => return (chains.leg, ANKLE * self.stature_m),
            Part::UpperTrunk | Part::MiddleTrunk | Part::LowerTrunk => {
                (&mut chains.trunk, table_length_m * self.trunk_scale)
            }
            Part::UpperArm | Part::Forearm | Part::Hand => (&mut chains.arm, table_length_m * self.arm_scale),
            Part::Thigh | Part::Shank => (&mut chains.leg, table_length_m * self.leg_scale),
        };
        let top = *end;
        *end -= length;
        (top, length)
    }
}

/// Height of the hip joint above the soles, m.
///
/// # Errors
/// Mass or stature out of range.
pub fn hip_height_m(person: &Person) -> Result<f64, BodyError> {
    let head = segments(person)?[0];
    Ok(person.stature_m - head.top_m)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn head_share_is_continuous_and_falls_with_stature() {
        let mut last = f64::INFINITY;
        for cm in 30..200 {
            let share = head_share(0.0694, f64::from(cm) / 100.0);
            assert!(share <= last);
            assert!(last.is_infinite() || last - share < 0.006, "{cm}");
            last = share;
        }
        assert!((last - 0.0694).abs() < 1e-15);
    }

    /// Source: de Leva 1996, Table 4 (from memory): the shank to the lateral malleolus is 434.0 (M) and 432.3 mm (F) long with its centre at
    /// 44.59 and 44.16 %, to the ankle joint's centre 440.3 and 438.6 mm with 43.95 and 43.52 %: both are one place below the knee.
    #[test]
    fn the_centre_of_the_shank_belongs_to_the_ends_of_its_length() {
        for (sex, other_ends_mm) in [(Sex::Male, 0.4395 * 440.3), (Sex::Female, 0.4352 * 438.6)] {
            let shank = table(sex).iter().find(|row| row.0 == Part::Shank).unwrap();
            // 0.3 mm: lengths are rounded to 1 mm here.
            let found_mm = 1000.0 * shank.2 * shank.3;
            assert!(
                (found_mm - other_ends_mm).abs() < 0.3,
                "{sex:?}: {found_mm} mm, {other_ends_mm} mm by the other ends"
            );
        }
    }

    #[test]
    fn out_of_range_is_refused() {
        let person = |mass_kg, stature_m| Person { mass_kg, stature_m, sex: Sex::Male };
        assert_eq!(segments(&person(-1.0, 1.7)), Err(BodyError::Mass { mass_kg: -1.0 }));
        assert!(segments(&person(f64::NAN, 1.7)).is_err());
        assert!(segments(&person(70.0, 17.0)).is_err());
    }
}
