//! `noise`: what a recording of a deck at rest says of its noise.

use std::io::BufReader;

use formats::recording::{Reader, Sample};
use verify::noise::{NoiseOptions, StretchFinder};

use crate::cli::NoiseArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};
use crate::progress;

pub(crate) fn run(args: &NoiseArgs) -> Result<Outcome, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let calibration = args.calibration.as_ref().map(|path| files::read_calibration(path, &deck)).transpose()?;
    let length = std::fs::metadata(&args.recording).map_or(0, |m| m.len());
    let bar = progress::bar(length, "reading");
    let source = BufReader::with_capacity(1 << 18, bar.wrap_read(files::open(&args.recording)?));
    let mut reader = Reader::new(&files::name(&args.recording), source, &deck)?;
    let usual = NoiseOptions::default();
    let options = NoiseOptions {
        from_s: args.from.unwrap_or(usual.from_s),
        to_s: args.to.unwrap_or(usual.to_s),
        most_rows: usual.most_rows,
    };
    let mut finder = StretchFinder::new(reader.header(), options);
    let mut sample = Sample::default();
    while reader.next_sample(&mut sample)? && finder.push(&sample) {}
    bar.finish_and_clear();
    let report = verify::noise::noise(&deck, calibration.as_ref(), &finder.finish())
        .map_err(|e| Failure::stage(&args.recording, &e))?;
    output::report(args.json, &report, report::text::noise)?;
    Ok(Outcome::Met)
}
