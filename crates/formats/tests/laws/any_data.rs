//! Data of every kind that the files can hold, at random.

use bedplate_formats::actions::{Action, ActionKind};
use bedplate_formats::chart::{Direction, Entry, Route};
use bedplate_formats::deck::{
    AccuracyClass, Axis, Bond, Cell, CellApproval, CellClass, CellType, Converter, ConverterApproval, Deck, Layer,
    LoadCase, Material, MaterialCost, Patch, PatientLoad, Plate, Practice, Rib, Section, Sex, Site, Target,
};
use bedplate_formats::materials;
use bedplate_formats::pairs::Pair;
use bedplate_formats::patient::{Patient, PatientFile, Plan, Ventilation};
use bedplate_formats::recording::{Header, Sample};
use bedplate_formats::run::{Load, Placement, Row};
use bedplate_formats::tests::{Test, TestKind};
use bedplate_formats::weights::{State, Weight};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

/// The largest number that a file may hold, and the smallest above 0 where 0 is refused.
const MOST: f64 = 1e15;
/// See `MOST`.
const LEAST: f64 = 1e-15;

/// Any finite number, the odd ones too.
pub(crate) fn finite() -> impl Strategy<Value = f64> {
    prop_oneof![
        -1e6..1e6f64,
        any::<i32>().prop_map(f64::from),
        (proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL | proptest::num::f64::ZERO)
            .prop_map(|x| if x.abs() > MOST { x.recip() } else { x }),
    ]
}

fn positive() -> impl Strategy<Value = f64> {
    finite().prop_map(|x| x.abs().max(LEAST))
}

fn not_negative() -> impl Strategy<Value = f64> {
    finite().prop_map(f64::abs)
}

/// A text that a file can hold: no blanks at its ends, for those are taken off.
pub(crate) fn text() -> impl Strategy<Value = String> {
    "[a-zA-Z0-9 ,;\"'#=äµ°\\\\\\[\\]{}\t\n-]{0,12}".prop_map(|s| s.trim().to_owned())
}

/// A name, one of its kind by its number.
fn name(i: usize) -> impl Strategy<Value = String> {
    text().prop_map(move |s| format!("n{i}{s}"))
}

fn names(n: usize) -> impl Strategy<Value = Vec<String>> {
    (0..n).map(name).collect::<Vec<_>>()
}

prop_compose! {
    fn target()(values in vec(option::of(positive()), 5)) -> Target {
        Target {
            deflection_mm: values[0],
            expanded_u_g: values[1],
            mass_kg: values[2],
            cost: values[3],
            plate_mass_kg: values[4],
        }
    }
}

fn site() -> impl Strategy<Value = Site> {
    prop_oneof![
        (9.75..9.85f64).prop_map(|gravity_m_s2| Site::Gravity { gravity_m_s2 }),
        (-90.0..90.0f64, -500.0..9000.0f64)
            .prop_map(|(latitude_deg, altitude_m)| Site::Place { latitude_deg, altitude_m }),
    ]
}

fn ordered(low: f64, high: f64) -> impl Strategy<Value = [f64; 2]> {
    (low..high, low..high).prop_map(|(a, b)| [a.min(b), a.max(b)])
}

prop_compose! {
    fn material(i: usize)(
        name in name(i),
        e in vec(1e-3..1e6f64, 4),
        orthotropic in any::<bool>(),
        core in option::of(positive()),
        nu in -0.9..0.9f64,
        cost in prop_oneof![
            not_negative().prop_map(MaterialCost::PerKg),
            not_negative().prop_map(MaterialCost::PerM2),
            Just(MaterialCost::Unknown)
        ],
    ) -> Material {
        // ν² < E_x / E_y where both are given, ν up to 1/2 where they are not.
        let nu = if orthotropic { nu * (e[0] / e[1]).sqrt().min(1.0) } else { nu.min(0.5) };
        Material {
            name,
            e_mpa: e[0],
            e_y_mpa: orthotropic.then_some(e[1]),
            nu,
            g_mpa: orthotropic.then_some(e[2]),
            g_transverse_mpa: core,
            density_kg_m3: e[3],
            strength_mpa: e[2],
            cost,
        }
    }
}

prop_compose! {
    fn cell_approval()(
        class in option::of(select(vec![CellClass::A, CellClass::B, CellClass::C, CellClass::D])),
        v in vec(option::of(positive()), 4),
        share in option::of(0.0..=1.0f64),
        range in option::of(ordered(-60.0, 120.0)),
    ) -> CellApproval {
        CellApproval {
            class,
            n_max: v[0],
            v_min_g: v[1],
            dead_min_kg: v[2],
            error_share: share,
            temperature_c: range,
            input_ohm: v[3],
        }
    }
}

prop_compose! {
    fn converter_approval()(
        class in option::of(select(vec![AccuracyClass::I, AccuracyClass::II, AccuracyClass::III, AccuracyClass::IIII])),
        v in vec(option::of(positive()), 3),
        input in option::of(finite()),
        share in option::of(0.0..=1.0f64),
        range in option::of(ordered(-60.0, 120.0)),
        ohm in option::of(ordered(1.0, 1e4)),
    ) -> ConverterApproval {
        ConverterApproval {
            class,
            n_max: v[0],
            step_min_uv: v[1],
            input_min_mv: input,
            error_share: share,
            temperature_c: range,
            bridge_ohm: ohm,
            cable_m_mm2: v[2],
        }
    }
}

prop_compose! {
    fn practice()(v in vec(option::of(positive()), 9), pct in vec(option::of(0.0..=10.0f64), 5), times in option::of(1.0..1e3f64)) -> Practice {
        Practice {
            averaging_s: v[0],
            angle_u_deg: pct[0],
            angle_again_deg: pct[1],
            masses_u_mg_kg: v[1],
            calibration_kg: v[2],
            placements: times,
            output_tolerance_pct: pct[2],
            pressure_hpa: v[3],
            side_sensitivity_pct: pct[3],
            tare_kg: v[4],
            moved_pct: pct[4],
            room_h: v[5],
            zero_h: v[6],
            zero_range_kg: v[7],
            cable_m_mm2: v[8],
        }
    }
}

prop_compose! {
    fn cell_type(i: usize)(
        name in name(i),
        v in vec(positive(), 3),
        pct in vec(0.0..100.0f64, 6),
        cost in not_negative(),
        mass_kg in option::of(not_negative()),
        approval in cell_approval(),
    ) -> CellType {
        CellType {
            name,
            capacity_kg: v[0],
            output_mv_v: v[1],
            stiffness_n_mm: v[2],
            nonlinearity_pct: pct[0],
            hysteresis_pct: pct[1],
            repeatability_pct: pct[2],
            creep_pct_30min: pct[3],
            zero_tc_pct_10c: pct[4],
            span_tc_pct_10c: pct[5],
            cost,
            mass_kg,
            approval,
        }
    }
}

prop_compose! {
    fn converter()(
        v in vec(positive(), 4),
        bits in 8u32..=32,
        noise in not_negative(),
        cost in not_negative(),
        approval in converter_approval(),
    ) -> Converter {
        Converter {
            excitation_v: v[0],
            gain: v[1],
            reference_v: v[2],
            bits,
            noise_nv_rms: noise,
            rate_hz: v[3],
            cost_per_channel: cost,
            approval,
        }
    }
}

/// A plate in the place of its number along the bed, on three cells near its corners.
fn plate(
    i: usize,
    sections: Vec<String>,
    materials: Vec<String>,
    cell_types: Vec<String>,
) -> impl Strategy<Value = Plate> {
    let base = (
        name(i),
        select(sections),
        [100.0..900.0f64, 100.0..900.0f64],
        positive(),
        any::<bool>(),
        option::of(not_negative()),
    );
    let layers = vec((select(materials.clone()), positive()), 1..4);
    // A rib hangs into the clearance: its height is a share of it.
    let ribs = vec((any::<bool>(), 0.2..0.8f64, 1.0..20.0f64, 0.01..0.99f64, select(materials)), 0..3);
    let cells = vec((text(), select(cell_types)), 3);
    (base, layers, ribs, cells).prop_map(
        move |((name, section, size_mm, clearance_mm, glued, base_kg), layers, ribs, cells)| {
            // A rib is a part of it, and a number of its own.
            let clearance_mm = clearance_mm.max(1e3 * LEAST);
            let corners = [[0.0, 0.0], [size_mm[0], 0.25], [0.125, size_mm[1]]];
            Plate {
                name,
                section,
                origin_mm: [1000.0 * i as f64, 10.0],
                size_mm,
                clearance_mm,
                base_kg,
                bond: if glued { Bond::Glued } else { Bond::Loose },
                layers: layers.into_iter().map(|(material, thickness_mm)| Layer { material, thickness_mm }).collect(),
                ribs: ribs
                    .into_iter()
                    .map(|(x, at, width_mm, share, material)| Rib {
                        along: if x { Axis::X } else { Axis::Y },
                        at_mm: at * size_mm[usize::from(x)],
                        width_mm,
                        height_mm: (share * clearance_mm).max(LEAST),
                        material,
                    })
                    .collect(),
                cells: cells
                    .into_iter()
                    .zip(corners)
                    .enumerate()
                    .map(|(k, ((name, cell_type), at_mm))| Cell { name: format!("c{i}.{k}{name}"), cell_type, at_mm })
                    .collect(),
            }
        },
    )
}

/// A load case of one of the three kinds.
fn load_case(i: usize, plates: Vec<Plate>, sections: Vec<Section>) -> impl Strategy<Value = LoadCase> {
    let patch = (select(plates), vec(0.0..0.5f64, 4), positive()).prop_map(|(plate, share, kg)| Patch {
        plate: plate.name,
        x_mm: share[0] * plate.size_mm[0],
        y_mm: share[1] * plate.size_mm[1],
        length_mm: share[2] * plate.size_mm[0] + 1e-3,
        width_mm: share[3] * plate.size_mm[1] + 1e-3,
        kg,
    });
    let patient = (0.4..300.0f64, 250.0..2500.0f64, any::<bool>(), not_negative(), vec(0.0..1.0f64, sections.len()))
        .prop_map(move |(mass_kg, height_mm, female, mattress_kg, shares)| PatientLoad {
            mass_kg,
            height_mm,
            sex: if female { Sex::Female } else { Sex::Male },
            mattress_kg,
            angles_deg: sections
                .iter()
                .zip(shares)
                .map(|(s, share)| {
                    let [low, high] = s.angle_deg;
                    (s.name.clone(), (low + share * (high - low)).clamp(low, high))
                })
                .collect(),
        });
    let empty = |name: String| LoadCase { name, even_kg: None, patches: Vec::new(), patient: None };
    prop_oneof![
        (name(i), positive()).prop_map(move |(name, kg)| LoadCase { even_kg: Some(kg), ..empty(name) }),
        (name(i), vec(patch, 1..3)).prop_map(move |(name, patches)| LoadCase { patches, ..empty(name) }),
        (name(i), patient).prop_map(move |(name, patient)| LoadCase { patient: Some(patient), ..empty(name) }),
    ]
}

fn explore() -> impl Strategy<Value = Option<toml::Table>> {
    option::of(Just("a = 1\nb = [\"x\", \"y\"]\n[c]\nd = 2.5\n".parse().unwrap()))
}

/// A whole deck.
pub(crate) fn deck() -> impl Strategy<Value = Deck> {
    let sections =
        (names(3), vec(1e-3..=10_000.0f64, 3), vec(ordered(-89.0, 89.0), 3)).prop_map(|(names, lengths, angles)| {
            let parts = names.into_iter().zip(lengths).zip(angles);
            parts.map(|((name, length_mm), angle_deg)| Section { name, length_mm, angle_deg }).collect::<Vec<_>>()
        });
    let parts = (sections, [material(0), material(1)], [cell_type(0), cell_type(1)]);
    let plates = parts.prop_flat_map(|(sections, materials, types)| {
        let of = |names: &[&String]| names.iter().map(|n| (*n).clone()).collect::<Vec<String>>();
        let section_names = of(&sections.iter().map(|s| &s.name).collect::<Vec<_>>());
        let material_names = of(&materials.iter().map(|m| &m.name).collect::<Vec<_>>());
        let type_names = of(&types.iter().map(|t| &t.name).collect::<Vec<_>>());
        let plates: Vec<_> =
            (0..2).map(|i| plate(i, section_names.clone(), material_names.clone(), type_names.clone())).collect();
        (Just(sections), Just(materials), Just(types), plates)
    });
    let cases = plates.prop_flat_map(|(sections, materials, types, plates)| {
        let cases: Vec<_> = (0..3).map(|i| load_case(i, plates.clone(), sections.clone())).collect();
        (Just(sections), Just(materials), Just(types), Just(plates), cases)
    });
    let class = select(vec![AccuracyClass::I, AccuracyClass::II, AccuracyClass::III, AccuracyClass::IIII]);
    let head = (name(0), 1.0..1e4f64, 1e-3..1.0f64, class, name(1), target());
    let places = (site(), option::of(site()), ordered(-40.0, 85.0), (converter(), practice()), explore());
    (head, places, cases).prop_map(|((name, max_kg, share, class, currency, target), places, cases)| {
        let (site, calibration_site, ambient_c, (converter, practice), explore) = places;
        let (sections, materials, cell_types, plates, load_cases) = cases;
        Deck {
            name,
            max_kg,
            e_g: share * max_kg,
            class,
            currency,
            target,
            site,
            calibration_site,
            ambient_c,
            sections,
            materials: materials::built_in().into_iter().chain(materials).collect(),
            cell_types: cell_types.to_vec(),
            converter,
            practice,
            plates,
            load_cases,
            explore,
        }
    })
}

/// Rows of a run over the seven cells of the test deck.
pub(crate) fn run_rows() -> impl Strategy<Value = Vec<Row>> {
    let at = || {
        (any::<bool>(), 0.0..=780.0f64, 0.0..=860.0f64).prop_map(|(head, x_mm, y_mm)| Placement {
            plate: if head { "head" } else { "foot" }.to_owned(),
            x_mm,
            y_mm,
        })
    };
    let label = || name(0);
    let load = prop_oneof![
        Just(Load::Zero),
        (at(), positive(), not_negative(), option::of(label()))
            .prop_map(|(at, mass_kg, u_mass_g, label)| Load::Known { at, mass_kg, u_mass_g, label }),
        (at(), label()).prop_map(|(at, label)| Load::Unknown { at, label }),
    ];
    let row = (text(), load, option::of(-60.0..125.0f64), vec(finite(), 7))
        .prop_map(|(step, load, temperature_c, counts)| Row { line: 0, step, load, temperature_c, counts });
    vec(row, 0..8)
}

/// A recording over the seven cells of the test deck.
pub(crate) fn recording() -> impl Strategy<Value = (Header, Vec<Sample>)> {
    (any::<bool>(), any::<bool>(), 0..20usize).prop_flat_map(|(has_temperature, has_tilt, n)| {
        let tilts: Vec<String> = if has_tilt { vec!["back".to_owned()] } else { Vec::new() };
        let cells = ["H1", "H2", "H3", "H4", "F1", "F2", "F3"].map(str::to_owned).to_vec();
        let sample = (
            1e-3..10.0f64,
            option::of(-60.0..125.0f64).prop_map(move |t| t.filter(|_| has_temperature)),
            vec(-89.0..89.0f64, tilts.len()),
            vec(option::of(finite()), 7),
        );
        let header = Header { cells, tilts, has_temperature };
        (Just(header), vec(sample, n)).prop_map(|(header, rows)| {
            let mut t_s = -5.0;
            let samples = rows.into_iter().map(|(dt, temperature_c, tilt_deg, counts)| {
                t_s += dt;
                Sample { t_s, temperature_c, tilt_deg, counts }
            });
            let samples = samples.collect();
            (header, samples)
        })
    })
}

pub(crate) fn actions() -> impl Strategy<Value = Vec<Action>> {
    use ActionKind::{Add, Hold, PatientOff, PatientOn, PatientStep, Release, Remove, Tare, Withdraw};
    let kind = select(vec![Tare, PatientOn, PatientOff, Add, Remove, Hold, Release, PatientStep, Withdraw]);
    vec((finite(), kind, option::of(0.0..=700.0f64), text(), option::of(finite())), 0..8).prop_map(|mut rows| {
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        rows.into_iter()
            .map(|(t_s, kind, kg, note, asked_s)| Action { line: 0, t_s, kind, kg, note, asked_s })
            .collect()
    })
}

pub(crate) fn weights() -> impl Strategy<Value = Vec<Weight>> {
    use State::{Empty, Fault, Held, Moving, Overload, Settled};
    let row = (1u32..100_000, select(vec![Settled, Moving, Held, Empty, Overload, Fault]), finite(), not_negative());
    (any::<bool>(), vec(row, 0..8)).prop_map(|(with_time, rows)| {
        let mut ms = 1_900_000_000_000i64;
        let weight = |(step, state, kg, u): (u32, State, f64, f64)| {
            ms += i64::from(step);
            let none = matches!(state, Empty | Fault);
            Weight {
                time: with_time.then(|| jiff::Timestamp::from_millisecond(ms).unwrap()),
                t_s: (ms - 1_900_000_000_000) as f64 / 1000.0,
                patient_kg: (!none).then_some(kg),
                u_kg: (!none).then_some(u),
                state,
            }
        };
        rows.into_iter().map(weight).collect()
    })
}

/// Whether on the plate `head`, and where on it.
type PlaceOn = (bool, Option<[f64; 2]>);

pub(crate) fn tests() -> impl Strategy<Value = Vec<Test>> {
    use TestKind::{
        Creep, Discrimination, Eccentricity, Repeatability, Tare, Temperature, Tilt, Weighing, Zero, ZeroReturn,
    };
    let kind = select(vec![
        Weighing,
        Eccentricity,
        Repeatability,
        Discrimination,
        Zero,
        Tare,
        Creep,
        ZeroReturn,
        Tilt,
        Temperature,
    ]);
    let place = option::of((any::<bool>(), option::of([0.0..780.0f64, 0.0..860.0f64])));
    let numbers =
        (not_negative(), finite(), option::of(not_negative()), not_negative(), -60.0..125.0f64, -89.0..89.0f64);
    vec((kind, text(), place, numbers), 0..8).prop_map(|rows| {
        let test = |(kind, step, place, n): (TestKind, String, Option<PlaceOn>, _)| {
            let (load_kg, indication_kg, added_g, minutes, temperature_c, tilt_deg): (
                f64,
                f64,
                Option<f64>,
                f64,
                f64,
                f64,
            ) = n;
            Test {
                line: 0,
                kind,
                step,
                plate: place.map(|(head, _)| if head { "head" } else { "foot" }.to_owned()),
                at_mm: place.and_then(|(_, at)| at),
                load_kg,
                indication_kg,
                added_g,
                minutes: Some(minutes),
                temperature_c: Some(temperature_c),
                tilt_deg: Some(tilt_deg),
            }
        };
        rows.into_iter().map(test).collect()
    })
}

pub(crate) fn pairs() -> impl Strategy<Value = Vec<Pair>> {
    let given = || option::of(name(0));
    let u = || option::of(1e-6..1e6_f64);
    let pair = (name(0), finite(), finite(), given(), given(), u(), u()).prop_map(
        |(subject, reference, method, repeat, operator, u_reference, u_method)| Pair {
            line: 0,
            subject,
            reference,
            method,
            repeat,
            operator,
            u_reference,
            u_method,
        },
    );
    vec(pair, 0..8)
}

pub(crate) fn chart() -> impl Strategy<Value = Vec<Entry>> {
    use Route::{Blood, Drain, Enteral, Gastric, Iv, Oral, Other, Stool, Ultrafiltrate, Urine};
    let route = select(vec![Iv, Oral, Enteral, Blood, Urine, Drain, Stool, Gastric, Ultrafiltrate, Other]);
    vec((1i64..4_000_000_000_000, any::<bool>(), route, not_negative(), any::<bool>(), text()), 0..8).prop_map(
        |mut rows| {
            rows.sort_by_key(|r| r.0);
            // No two at one time, so that none is a double of another.
            rows.dedup_by_key(|r| r.0);
            let entry = |(ms, intake, route, volume_ml, leaves, note)| Entry {
                line: 0,
                time: jiff::Timestamp::from_millisecond(ms).unwrap(),
                direction: if intake { Direction::Intake } else { Direction::Output },
                route,
                volume_ml,
                leaves_deck: intake || leaves,
                note,
            };
            rows.into_iter().map(entry).collect()
        },
    )
}

pub(crate) fn patient() -> impl Strategy<Value = PatientFile> {
    let body = (option::of(any::<bool>()), option::of(0.0..125.0f64), vec(option::of(200.0..1500.0f64), 13));
    let masses = vec(option::of(0.2..700.0f64), 4);
    let ventilated = option::of(select(vec![Ventilation::Humidified, Ventilation::Dry, Ventilation::No]));
    let breath = (option::of(0.05..100.0f64), option::of(1.0..5000.0f64), option::of(0.5..1.5f64));
    let rest = (option::of(1.0..100.0f64), option::of(20.0..45.0f64), vec(option::of(positive()), 2), breath);
    let plan = option::of([not_negative(), not_negative(), not_negative()]);
    (name(0), body, masses, ventilated, rest, plan).prop_map(|(label, body, kg, ventilated, rest, plan)| {
        let ((female, age, mm), (fold, temperature, labs, (minute, uptake, quotient))) = (body, rest);
        let infant = age.is_some_and(|a| a <= 24.0);
        let patient = Patient {
            label,
            sex: female.map(|f| if f { Sex::Female } else { Sex::Male }),
            age_y: age.filter(|_| !infant),
            age_mo: age.filter(|_| infant),
            height_mm: mm[0],
            knee_height_mm: mm[1],
            ulna_mm: mm[2],
            demispan_mm: mm[3],
            arm_circumference_mm: mm[4],
            calf_circumference_mm: mm[5],
            waist_mm: mm[6],
            abdomen_mm: mm[7],
            thigh_mm: mm[8],
            hip_mm: mm[9],
            subscapular_mm: fold,
            arm_length_mm: mm[10],
            half_span_mm: mm[11],
            birth_kg: kg[0],
            gestation_weeks: temperature,
            stated_kg: kg[1],
            admission_kg: kg[2],
            dry_kg: kg[3],
            ventilated,
            temperature_c: temperature,
            creatinine_umol_l: labs[0],
            baseline_creatinine_umol_l: labs[1],
            minute_volume_l_min: minute,
            oxygen_uptake_ml_min: uptake,
            respiratory_quotient: quotient,
            burned_pct: quotient.map(|q| 50.0 * q),
        };
        let plan = plan.map(|[intake_ml_h, output_ml_h, ultrafiltration_ml_h]| Plan {
            intake_ml_h,
            output_ml_h,
            ultrafiltration_ml_h,
        });
        PatientFile { patient, plan }
    })
}
