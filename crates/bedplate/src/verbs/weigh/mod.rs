//! `weigh`: a recording and its actions to weights, streaming in constant memory; `follow` as it comes.

mod ahead;
mod follow;
mod live_actions;
mod state;
mod told;

use std::io::BufReader;
use std::path::{Path, PathBuf};

use formats::recording::Reader;
use formats::weights::{State, Weight, Writer};
use weigh::WeighReport;

use crate::cli::WeighArgs;
use crate::failure::Failure;
use crate::files::{self, Aside};
use crate::output::{self, Outcome};
use crate::progress;

pub(crate) fn run(args: &WeighArgs) -> Result<Outcome, Failure> {
    let report = print(args)?;
    let at_fault = report.last.is_some_and(|l| l.state == State::Fault);
    Ok(Outcome::of(!at_fault))
}

/// Weighs the recording, writes the weights where asked, and prints the report.
pub(crate) fn print(args: &WeighArgs) -> Result<WeighReport, Failure> {
    let recording = args.recording.as_deref().unwrap_or(Path::new("-"));
    if args.follow { follow::follow(args, recording) } else { replay(args, recording) }
}

fn replay(args: &WeighArgs, recording: &Path) -> Result<WeighReport, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let calibration = files::read_calibration(&args.calibration, &deck)?;
    let actions = match &args.actions {
        Some(path) => formats::actions::read(&files::name(path), &files::read_text(path)?)?,
        None => Vec::new(),
    };
    let length = std::fs::metadata(recording).map_or(0, |m| m.len());
    let bar = progress::bar(length, "weighing");
    let source = BufReader::with_capacity(1 << 18, bar.wrap_read(files::open(recording)?));
    let reader = Reader::new(&files::name(recording), source, &deck)?;
    let options = weigh::Options { every_s: args.every, start: args.start };
    let mut weigher = weigh::Weigher::new(&deck, &calibration, reader.header(), &actions, options)
        .map_err(|e| Failure::stage(recording, &e))?;
    let mut written = args.output.as_deref().map(|path| WeightsFile::create(path, args.start.is_some())).transpose()?;
    ahead::each(reader, |sample| match (weigher.push(sample), &mut written) {
        (Some(weight), Some(file)) => file.write(&weight, weigher.open_kg()),
        _ => Ok(()),
    })?;
    if let Some(file) = written {
        file.finish()?;
    }
    bar.finish_and_clear();
    let report = weigher.finish();
    output::report(args.json, &report, |r| report::text::weighing(&deck.name, r))?;
    Ok(report)
}

/// weights.csv under way: it takes its name when it is whole.
struct WeightsFile {
    writer: Writer<Aside>,
    path: PathBuf,
}

impl WeightsFile {
    fn create(path: &Path, with_time: bool) -> Result<Self, Failure> {
        let writer = Writer::with_open(Aside::create(path)?, with_time).map_err(|e| Failure::write(path, e))?;
        Ok(Self { writer, path: path.to_owned() })
    }

    fn write(&mut self, weight: &Weight, open_kg: f64) -> Result<(), Failure> {
        let (weight, open_kg) = to_steps(weight, open_kg);
        self.writer.write_open(&weight, open_kg).map_err(|e| Failure::write(&self.path, e))
    }

    fn finish(self) -> Result<(), Failure> {
        self.writer.finish().map_err(|e| Failure::write(&self.path, e))?.finish()
    }
}

/// Steps of the weights written, a kilogram: 10 mg, far below any deck's uncertainty, so that the file reads well.
const STEPS_PER_KG: f64 = 1e5;

/// A row as it is written.
fn to_steps(weight: &Weight, open_kg: f64) -> (Weight, f64) {
    let step = |kg: f64| (kg * STEPS_PER_KG).round() / STEPS_PER_KG;
    (Weight { patient_kg: weight.patient_kg.map(step), u_kg: weight.u_kg.map(step), ..weight.clone() }, step(open_kg))
}
