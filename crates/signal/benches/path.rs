//! Cost of one sample, and the bytes that the path takes.
use bedplate_signal::{CellConfig, Config, Limits, Sample, SignalPath};

const CELLS: usize = 24;

type Path = SignalPath<CELLS, 6, 4>;

fn path() -> Path {
    let cells: Vec<CellConfig> = (0..CELLS)
        .map(|i| CellConfig::straight(i / 4, [(i / 4) as f64 * 300.0, (i % 4) as f64 * 200.0], 1000.0, 2e-5, 50.0))
        .collect();
    Path::new(Config::new(&cells, &[0, 0, 1, 2, 3, 3], 4, 0.9990, Limits::default()).unwrap())
}

/// A minute of counts with noise that needs no library.
fn samples() -> Vec<Sample<CELLS, 4>> {
    let mut state = 12_345_u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 20) / 64.0
    };
    (0..600)
        .map(|i| Sample {
            t_s: f64::from(i) * 0.1,
            counts: [(); CELLS].map(|()| Some(200_000.0 + noise())),
            temperature_c: Some(22.0),
            tilt_deg: [Some(30.0), Some(0.0), Some(5.0), Some(-5.0)],
        })
        .collect()
}

fn main() {
    divan::main();
}

/// 600 samples of 24 cells; the counter gives cells a second.
#[divan::bench]
fn a_minute_of_24_cells(bencher: divan::Bencher<'_, '_>) {
    let samples = samples();
    bencher.counter(divan::counter::ItemsCount::new(600 * CELLS)).with_inputs(path).bench_local_values(|mut path| {
        for sample in &samples {
            path.push(sample);
        }
        path.reading().total_kg
    });
}

/// Reading the same counts and summing them: what the memory alone allows.
#[divan::bench]
fn the_same_counts_only_summed(bencher: divan::Bencher<'_, '_>) {
    let samples = samples();
    bencher.counter(divan::counter::ItemsCount::new(600 * CELLS)).bench_local(|| {
        samples.iter().flat_map(|sample| &sample.counts).map(|counts| counts.unwrap_or(0.0)).sum::<f64>()
    });
}
