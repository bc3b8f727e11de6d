//! Our side of `benches/peers/reading_peer.py`: reads a recording several times, prints the best processor time as JSON.
#![expect(clippy::print_stdout, reason = "the result is read by the script that runs this")]

use std::time::Instant;

use bedplate_formats::deck;
use bedplate_formats::recording::{Reader, Sample};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let [_, deck_file, file, repeat] =
        std::env::args().collect::<Vec<_>>().try_into().map_err(|found: Vec<String>| {
            format!("found {} arguments, expected a deck, a recording and how often", found.len() - 1)
        })?;
    let deck = deck::read(&deck_file, &std::fs::read_to_string(&deck_file)?)?;
    let text = std::fs::read(&file)?;
    let mut best_s = f64::INFINITY;
    let (mut n_rows, mut sum) = (0, 0.0);
    for _ in 0..repeat.parse::<usize>()? {
        let start = Instant::now();
        let mut reader = Reader::new(&file, text.as_slice(), &deck)?;
        let mut sample = Sample::default();
        (n_rows, sum) = (0, 0.0);
        while reader.next_sample(&mut sample)? {
            n_rows += 1;
            sum += sample.counts.iter().flatten().sum::<f64>();
        }
        best_s = best_s.min(start.elapsed().as_secs_f64());
    }
    println!("{{\"seconds\": {best_s}, \"rows\": {n_rows}, \"sum\": {sum}}}");
    Ok(())
}
