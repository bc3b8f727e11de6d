//! How fast a recording is read and written: two hours of seven cells at 10 samples a second.

use bedplate_formats::deck::{self, Deck};
use bedplate_formats::recording::{Reader, Sample, Writer};
use divan::Bencher;
use divan::counter::BytesCount;

fn main() {
    divan::main();
}

fn test_deck() -> Deck {
    deck::read("deck.toml", include_str!("../tests/data/deck.toml")).expect("the test deck is right")
}

/// Rows as a converter writes them: whole counts, one decimal of time and temperature.
fn recording() -> Vec<u8> {
    let mut text = String::from("t_s,temperature_C,tilt_back_deg,H1,H2,H3,H4,F1,F2,F3\n");
    for i in 0..72_000u32 {
        let tenths = i % 10;
        let counts = |cell: u32| 100_000 + (i.wrapping_mul(2_654_435_761) >> (8 + cell)) % 1000;
        text += &format!("{}.{tenths},22.8,30.0", i / 10);
        for cell in 0..7 {
            text += &format!(",{}", counts(cell));
        }
        text.push('\n');
    }
    text.into_bytes()
}

#[divan::bench]
fn read(bencher: Bencher) {
    let (deck, text) = (test_deck(), recording());
    bencher.counter(BytesCount::of_slice(&text)).bench(|| {
        let mut reader = Reader::new("recording.csv", text.as_slice(), &deck).expect("the header is right");
        let mut sample = Sample::default();
        let mut n_samples = 0;
        while reader.next_sample(&mut sample).expect("the rows are right") {
            n_samples += 1;
        }
        n_samples
    });
}

#[divan::bench]
fn write(bencher: Bencher) {
    let (deck, text) = (test_deck(), recording());
    let mut reader = Reader::new("recording.csv", text.as_slice(), &deck).expect("the header is right");
    let header = reader.header().clone();
    let mut samples = Vec::new();
    let mut sample = Sample::default();
    while reader.next_sample(&mut sample).expect("the rows are right") {
        samples.push(sample.clone());
    }
    bencher.counter(BytesCount::of_slice(&text)).bench(|| {
        let mut writer = Writer::new(Vec::with_capacity(text.len()), &header).expect("memory takes it");
        for sample in &samples {
            writer.write(sample).expect("memory takes it");
        }
        writer.finish().expect("memory takes it").len()
    });
}
