//! Laws over random input.

use bedplate_signal::keep::{KeepError, Keeper, Kept, MOST_BYTES, Slot, restore, rounded_loads};
use bedplate_signal::{
    CellConfig, Config, Ledger, Level, Limits, Mass, Memory, Motion, Open, Plateau, Sample, SignalPath,
};
use proptest::prelude::*;

type Path = SignalPath<6, 2, 2>;
type Rest = Plateau<6, 2>;

fn config(cells: &[CellConfig]) -> Config<6, 2, 2> {
    Config::new(cells, &[0, 1], 2, 0.9995, Limits::default()).unwrap()
}

fn cells() -> Vec<CellConfig> {
    (0..6)
        .map(|i| {
            let at_mm = [f64::from(i) * 300.0, f64::from(i % 2) * 600.0];
            let cell = CellConfig::straight(
                i as usize / 3,
                at_mm,
                1e4 * f64::from(i),
                2e-5 * (1.0 + 0.1 * f64::from(i)),
                60.0,
            );
            CellConfig { counts_min: -8e6, counts_max: 8e6, noise_counts: 5.0, u_gain_rel: 3e-4, ..cell }
        })
        .collect()
}

/// Counts as no converter would give them.
fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![
        5 => -1e7..1e7_f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(1e300),
        1 => Just(0.0),
        3 => 1e5..1.001e5_f64,
    ]
}

prop_compose! {
    fn wild_sample()(
        dt in prop_oneof![8 => 0.0..0.5_f64, 1 => -5.0..100.0_f64, 1 => Just(f64::NAN)],
        counts in prop::array::uniform6(prop::option::weighted(0.9, wild())),
        temperature_c in prop::option::of(prop_oneof![-20.0..60.0_f64, Just(f64::NAN)]),
        tilt_deg in prop::array::uniform2(prop::option::of(prop_oneof![-100.0..100.0_f64, Just(f64::NAN)])),
    ) -> (f64, Sample<6, 2>) {
        (dt, Sample { t_s: 0.0, counts, temperature_c, tilt_deg })
    }
}

fn mass() -> impl Strategy<Value = Mass> {
    (-90.0..90.0_f64, 0.0..1.0_f64).prop_map(|(kg, u_kg)| Mass { kg, u_kg })
}

prop_compose! {
    fn ledger()(
        tare in prop::option::of((5.0..40.0_f64, prop::array::uniform6(-5.0..20.0_f64), prop::option::of(10.0..30.0_f64))),
        items in prop::collection::vec((0..30_u16, mass()), 0..40),
        asked in prop::collection::vec((0.0..1e5_f64, mass(), prop::option::of((0.0..2000.0_f32, 0.0..900.0_f32))), 0..12),
        lean in mass(),
        held in prop::option::of(mass()),
    ) -> Ledger<6, 2> {
        let mut ledger = Ledger::new();
        if let Some((kg, cells_kg, temperature_c)) = tare {
            let level = Level { t_s: 41.3, kg, slope_kg_s: 1e-6, u_kg: 0.003, u_slope_kg_s: 2e-5 };
            ledger.take_tare(Rest { level, cells_kg, tilt_deg: [30.1, -2.0], temperature_c, stand_in_u_kg: 0.013 });
        }
        for (id, mass) in items {
            ledger.add_item(id, mass);
        }
        for (t_s, mass, place) in asked {
            ledger.ask(Open { t_s, mass, place_mm: place.map(|(x, y)| [f64::from(x), f64::from(y)]) });
        }
        ledger.set_lean(lean);
        if let Some(held) = held {
            ledger.hold(held);
        }
        ledger
    }
}

/// As many inputs as a test states, or as many as `PROPTEST_CASES` says: a long run by hand.
fn cases(stated: u32) -> u32 {
    std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(stated)
}

/// What the caller keeps beside in these tests.
const BESIDE: &[u8] = b"names";

/// A ledger with a path's memory that is derived from it, so that each ledger has another.
fn kept(ledger: &Ledger<6, 2>) -> Kept<'static, 6, 2> {
    let known_kg = ledger
        .held()
        .and(ledger.tare())
        .map(|tare| rounded_loads(&tare.cells_kg.map(|kg| if tare.level.kg > 20.0 { 0.7 * kg } else { kg - 0.01 })));
    let drifts = [(); 6].map(|()| known_kg.is_some());
    Kept { ledger: *ledger, memory: Memory { last: ledger.tare().copied(), known_kg, drifts }, beside: BESIDE }
}

fn record(keeper: &mut Keeper, ledger: &Ledger<6, 2>) -> (Slot, Vec<u8>) {
    let mut buffer = [0; MOST_BYTES];
    let (slot, length) = keeper.save(&kept(ledger), 6, 2, &mut buffer).unwrap();
    (slot, buffer[..length].to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(4), failure_persistence: None, ..ProptestConfig::with_cases(cases(256)) })]

    #[test]
    fn nothing_that_arrives_makes_a_number_that_is_none(samples in prop::collection::vec(wild_sample(), 1..400)) {
        let mut path = Path::new(config(&cells()));
        let mut t_s = 0.0;
        for (dt, sample) in samples {
            t_s += if dt.is_nan() { 0.0 } else { dt };
            let sample = Sample { t_s: if dt.is_nan() { f64::NAN } else { t_s }, ..sample };
            let reading = path.push(&sample);
            for number in [reading.t_s, reading.total_kg, reading.filtered_kg, reading.level.kg, reading.level.u_kg] {
                prop_assert!(number.is_finite(), "{reading:?}");
            }
            prop_assert!(reading.centre_mm.is_none_or(|at| at.iter().all(|mm| mm.is_finite())));
            if let Some(change) = reading.change {
                prop_assert!(change.delta_kg.is_finite() && change.parts.total_kg().is_finite());
            }
        }
    }

    #[test]
    fn the_order_of_the_cells_is_nothing(
        loads in prop::array::uniform6(0.0..30.0_f64),
        turn in 0..6_usize,
        tilt in prop::array::uniform2(-40.0..60.0_f64),
    ) {
        let straight = cells();
        let counts: Vec<f64> = straight.iter().zip(loads).map(|(c, kg)| c.zero_counts + kg / c.kg_per_count).collect();
        let (mut turned, mut turned_counts) = (straight.clone(), counts.clone());
        turned.rotate_left(turn);
        turned_counts.rotate_left(turn);
        let weigh = |cells: &[CellConfig], counts: &[f64]| {
            let counts: [f64; 6] = counts.try_into().unwrap();
            let sample = Sample { t_s: 1.0, counts: counts.map(Some), temperature_c: None, tilt_deg: tilt.map(Some) };
            *Path::new(config(cells)).push(&sample)
        };
        let (a, b) = (weigh(&straight, &counts), weigh(&turned, &turned_counts));
        // Sums of six in another order: some rounding of 100 kg and of 1e5 kg mm.
        prop_assert!((a.total_kg - b.total_kg).abs() < 1e-10);
        let (at, other) = (a.centre_mm.unwrap_or_default(), b.centre_mm.unwrap_or_default());
        prop_assert!(at.iter().zip(other).all(|(x, y)| (x - y).abs() < 1e-6));
    }

    #[test]
    fn a_load_is_the_sum_of_its_parts(loads in prop::array::uniform6(0.0..30.0_f64), factor in 0.1..2.0_f64) {
        let weigh = |factor: f64| {
            let mut counts = [None; 6];
            for ((to, cell), kg) in counts.iter_mut().zip(cells()).zip(loads) {
                *to = Some(cell.zero_counts + factor * kg / cell.kg_per_count);
            }
            let sample = Sample { t_s: 1.0, counts, temperature_c: None, tilt_deg: [None; 2] };
            Path::new(config(&cells())).push(&sample).total_kg
        };
        prop_assert!((weigh(factor) - factor * weigh(1.0)).abs() < 1e-9);
        prop_assert!((weigh(1.0) - 0.9995 * loads.iter().sum::<f64>()).abs() < 1e-9);
    }

    #[test]
    fn the_same_samples_give_the_same_bits(seed in 0..1000_u32) {
        let run = || {
            let mut path = Path::new(config(&cells()));
            let sum = (0..400).fold(0_u64, |sum, i| {
                let sample = quiet(seed, i, 12.0);
                sum.rotate_left(3) ^ path.push(&sample).filtered_kg.to_bits()
            });
            (sum, path)
        };
        prop_assert!(run() == run());
    }

    #[test]
    fn a_saved_ledger_comes_back_to_the_bit(ledger in ledger()) {
        let (_, bytes) = record(&mut Keeper::new(), &ledger);
        let (back, _) = restore::<6, 2>(&bytes, &[], 6, 2).unwrap();
        prop_assert_eq!(back, kept(&ledger));
        prop_assert_eq!(restore::<6, 2>(&bytes, &[], 5, 2).err(), Some(KeepError::OtherDeck));
        prop_assert_eq!(restore::<6, 2>(&[], &bytes, 6, 1).err(), Some(KeepError::OtherDeck));
    }

    #[test]
    fn a_cut_write_brings_the_ledger_before_it_back(old in ledger(), new in ledger(), cut in 0.0..1.0_f64, garbage in any::<u8>()) {
        let mut keeper = Keeper::new();
        let (first, a) = record(&mut keeper, &old);
        let (second, whole) = record(&mut keeper, &new);
        prop_assert_eq!((first, second), (Slot::A, Slot::B));
        let at = (cut * whole.len() as f64) as usize;
        let mut torn = vec![garbage; whole.len()];
        torn[..at].copy_from_slice(&whole[..at]);
        if torn == whole {
            return Ok(());
        }
        let (back, mut keeper) = restore::<6, 2>(&a, &torn, 6, 2).unwrap();
        prop_assert_eq!(back, kept(&old));
        // The next save goes over the torn record, and is the one that comes back.
        let (slot, b) = record(&mut keeper, &new);
        prop_assert_eq!(slot, Slot::B);
        prop_assert_eq!(restore::<6, 2>(&a, &b, 6, 2).unwrap().0, kept(&new));
    }

    #[test]
    fn any_bytes_are_refused_or_read_without_harm(a in prop::collection::vec(any::<u8>(), 0..400), flip in any::<prop::sample::Index>(), ledger in ledger()) {
        let _ = restore::<6, 2>(&a, &[], 6, 2);
        let (_, mut bytes) = record(&mut Keeper::new(), &ledger);
        let at = flip.index(bytes.len() * 8);
        bytes[at / 8] ^= 1 << (at % 8);
        prop_assert_eq!(restore::<6, 2>(&bytes, &[], 6, 2).err(), Some(KeepError::Broken), "CRC-32 finds every single flipped bit");
    }
}

/// A patient as still as a load can be, with noise that needs no library.
fn quiet(seed: u32, i: u32, kg: f64) -> Sample<6, 2> {
    let mut counts = [None; 6];
    for (n, (to, cell)) in (0_u32..).zip(counts.iter_mut().zip(cells())) {
        let noise = seed.wrapping_add(i * 6 + n).wrapping_mul(2_654_435_761) >> 24;
        *to = Some((cell.zero_counts + kg / cell.kg_per_count).round() + f64::from(noise) - 127.5);
    }
    Sample { t_s: f64::from(i) * 0.1, counts, temperature_c: None, tilt_deg: [None; 2] }
}

#[test]
fn numbers_of_records_wrap() {
    let mut keeper = Keeper::new();
    let ledger = Ledger::<6, 2>::new();
    let mut held = ledger;
    held.hold(Mass { kg: 70.0, u_kg: 0.03 });
    let mut places = [Vec::new(), Vec::new()];
    // The number stands in bytes 4 to 7; put it just below the end and go on from there.
    let (_, mut first) = record(&mut keeper, &ledger);
    first[4..8].copy_from_slice(&(u32::MAX - 1).to_le_bytes());
    let end = first.len() - 4;
    let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&first[..end]);
    first[end..].copy_from_slice(&sum.to_le_bytes());
    places[0] = first;
    for i in 0..6 {
        let now = if i % 2 == 0 { held } else { ledger };
        let (_, mut keeper) = restore::<6, 2>(&places[0], &places[1], 6, 2).unwrap();
        let (slot, bytes) = record(&mut keeper, &now);
        // The first place holds the newest record at first: the older one is written over, in turn.
        assert_eq!(slot, if i % 2 == 0 { Slot::B } else { Slot::A }, "save {i}");
        places[usize::from(slot == Slot::B)] = bytes;
        assert_eq!(restore::<6, 2>(&places[0], &places[1], 6, 2).unwrap().0, kept(&now), "save {i}");
    }
}

/// Source: check value of CRC-32/ISO-HDLC, "123456789" → CBF43926 (catalogue of CRC parameters; from memory).
#[test]
fn the_checksum_is_the_usual_one() {
    assert_eq!(crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(b"123456789"), 0xCBF4_3926);
}

#[test]
fn a_power_cut_costs_no_tare_and_what_came_meanwhile_is_a_change() {
    for gained_kg in [0.0, 0.8] {
        let mut ledger = Ledger::<6, 2>::new();
        let mut path = Path::new(config(&cells()));
        for i in 0..200 {
            path.push(&quiet(1, i, 2.0));
        }
        ledger.take_tare(path.now(None));
        for i in 200..500 {
            path.push(&quiet(1, i, 12.0));
        }
        let before = ledger.remainder_kg(path.now(None).level.kg).unwrap();
        let mut buffer = [0; MOST_BYTES];
        let now = Kept { ledger, memory: path.memory(None), beside: BESIDE };
        let (_, length) = Keeper::new().save(&now, 6, 2, &mut buffer).unwrap();
        let (back, _) = restore::<6, 2>(&buffer[..length], &[], 6, 2).unwrap();
        assert_eq!(back.ledger.tare().unwrap().level.kg.to_bits(), ledger.tare().unwrap().level.kg.to_bits());
        // Half a minute without power, and of each cell an equal share of what came in it.
        let mut again = Path::resume(config(&cells()), &back.memory);
        let found: Vec<_> =
            (800..900).filter_map(|i| again.push(&quiet(1, i, 12.0 + gained_kg / 6.0)).change).collect();
        assert_eq!(again.reading().motion, Motion::Settled);
        let after = back.ledger.remainder_kg(again.now(None).level.kg).unwrap();
        // 74 counts of noise are 2 g a cell and sample; over seconds some tenths of a gram of six cells.
        assert!((after - before - 0.9995 * gained_kg).abs() < 0.003, "{after} against {before}");
        assert!(found.len() == 1 && found[0].before.is_some(), "compared with the plateau before the cut");
        assert!((found[0].delta_kg - 0.9995 * gained_kg).abs() < 0.003, "{}", found[0].delta_kg);
    }
}

/// The size that the documentation of `keep` states.
#[test]
fn a_record_takes_a_few_hundred_bytes() {
    let mut ledger = Ledger::<24, 4>::new();
    let rest = Plateau {
        level: Level::default(),
        cells_kg: [1.0; 24],
        tilt_deg: [0.0; 4],
        temperature_c: Some(22.0),
        stand_in_u_kg: 0.0,
    };
    ledger.take_tare(rest);
    for id in 0..3 {
        ledger.add_item(id, Mass { kg: 1.0, u_kg: 0.01 });
    }
    let full = |ledger| Kept {
        ledger,
        memory: Memory { last: Some(rest), known_kg: Some(rest.cells_kg), drifts: [true; 24] },
        beside: &[],
    };
    let mut buffer = [0; MOST_BYTES];
    assert_eq!(Keeper::new().save(&full(ledger), 24, 4, &mut buffer).unwrap().1, 310);
    // The most that fits, with room to spare; and a buffer too small is refused, not overrun.
    let mut most = Ledger::<48, 8>::new();
    let rest = Plateau {
        level: Level::default(),
        cells_kg: [1.0; 48],
        tilt_deg: [0.0; 8],
        temperature_c: Some(22.0),
        stand_in_u_kg: 0.0,
    };
    most.take_tare(rest);
    most.hold(Mass { kg: 70.0, u_kg: 0.1 });
    for id in 0..20 {
        most.add_item(id, Mass { kg: 1.0, u_kg: 0.01 });
        most.ask(Open { t_s: 0.0, mass: Mass { kg: 1.0, u_kg: 0.01 }, place_mm: Some([1.0, 2.0]) });
    }
    let most = Kept {
        ledger: most,
        memory: Memory { last: Some(rest), known_kg: Some(rest.cells_kg), drifts: [true; 48] },
        beside: &[],
    };
    assert_eq!(Keeper::new().save(&most, 48, 8, &mut buffer).unwrap().1, 871);
    assert_eq!(Keeper::new().save(&most, 48, 8, &mut buffer[..500]), Err(KeepError::NoRoom { room: 500 }));
    let more = Kept { beside: &[7; 1000], ..most };
    assert_eq!(Keeper::new().save(&more, 48, 8, &mut buffer), Err(KeepError::NoRoom { room: MOST_BYTES }));
}

/// The size that the crate's documentation states, to a kilobyte.
#[test]
fn the_state_takes_some_kilobytes() {
    let bytes = size_of::<SignalPath<24, 6, 4>>();
    assert!((10_500..11_500).contains(&bytes), "{bytes}");
}
