//! How honest are the stated uncertainties, and how sure the findings, on decks with the twin's full physics: bow, hysteresis, creep,
//! seats that settle anew, temperature, drift, places off their marks?
//!
//! Prints the share of gains within twice the stated uncertainty of the true line, without fault; then, for each kind of
//! fault, in how many runs it was found and in how many something else was found besides.
//!
//! Usage   cargo run --release -p bedplate-calibrate --example twin_decks -- [RUNS]

#![expect(clippy::print_stdout, reason = "the study is there to be read")]

use calibrate::{Options, calibrate};
use formats::calibration::{Calibration, FindingKind};
use formats::deck::Deck;
use twin::{BenchFault, BenchOptions, BenchRun, bench_run};

type Fault = (&'static str, FindingKind, fn(&Deck, u64) -> BenchFault);

const FAULTS: [Fault; 6] = [
    ("reversed", FindingKind::Reversed, |deck, n| BenchFault::Reversed { cell: cell(deck, n) }),
    ("dead", FindingKind::Dead, |deck, n| BenchFault::Dead { cell: cell(deck, n) }),
    ("swapped", FindingKind::Swapped, |deck, n| BenchFault::Swapped { cell: cell(deck, n), with: cell(deck, n + 1) }),
    ("noisy, 30 times", FindingKind::Noisy, |deck, n| BenchFault::Noisy { cell: cell(deck, n), times: 30.0 }),
    ("bow of 2 % of rated", FindingKind::Nonlinear, |deck, n| BenchFault::Nonlinear { cell: cell(deck, n), pct: 2.0 }),
    ("0.3 kg more in one reading", FindingKind::Outlier, |_, n| BenchFault::Outlier {
        reading: (n % 40) as usize,
        kg: 0.3,
    }),
];

fn cell(deck: &Deck, n: u64) -> String {
    let cells: Vec<&str> = deck.cells().map(|(_, c)| c.name.as_str()).collect();
    cells[n as usize % cells.len()].to_owned()
}

fn run_of(
    deck: &Deck,
    seed: u64,
    faults: Vec<BenchFault>,
) -> Result<(BenchRun, Calibration), Box<dyn std::error::Error>> {
    let made = bench_run(deck, seed, &BenchOptions { faults, ..BenchOptions::default() })?;
    let found = calibrate(deck, &made.run, &Options::new("2031-01-01T00:00:00Z"))?;
    Ok((made, found))
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let runs: u64 = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(20);
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML)?;
    let (mut gains, mut by_run, mut by_sheet, mut square, mut false_alarms) = (0.0, 0.0, 0.0, 0.0, 0);
    for seed in 0..runs {
        let (made, found) = run_of(&deck, seed, Vec::new())?;
        false_alarms += u32::from(!found.findings.is_empty());
        let any = found.detail.as_ref().map(|d| d.cells.iter().map(|c| c.u_any_load_kg_per_count));
        for ((line, truth), any) in found.cells.iter().zip(&made.truth.cells).zip(any.into_iter().flatten()) {
            let (Some(k), Some(u), Some(any)) = (line.kg_per_count, line.u_kg_per_count, any) else { continue };
            let off = (k - truth.kg_per_count).abs();
            gains += 1.0;
            by_run += f64::from(off < 2.0 * u);
            by_sheet += f64::from(off < 2.0 * any);
            square += (off / any).powi(2);
        }
    }
    println!("{runs} sound runs, {gains} gains against the end-point line of each cell:");
    println!("  within 2 u of the run      {:.1} %", 100.0 * by_run / gains);
    println!(
        "  within 2 u for any load    {:.1} %, root mean square {:.2} u",
        100.0 * by_sheet / gains,
        (square / gains).sqrt()
    );
    println!("  runs with a finding        {false_alarms}");
    for (name, kind, fault) in FAULTS {
        let (mut found_in, mut besides) = (0, 0);
        let mut others = std::collections::BTreeMap::<String, u32>::new();
        for seed in 0..runs {
            let (_, found) = run_of(&deck, seed, vec![fault(&deck, seed)])?;
            found_in += u32::from(found.findings.iter().any(|f| f.kind == kind));
            besides += u32::from(found.findings.iter().any(|f| f.kind != kind));
            for other in found.findings.iter().filter(|f| f.kind != kind) {
                *others.entry(format!("{:?}", other.kind)).or_default() += 1;
            }
        }
        println!("{name}: found in {found_in} of {runs}, something else besides in {besides} {others:?}");
    }
    Ok(())
}
