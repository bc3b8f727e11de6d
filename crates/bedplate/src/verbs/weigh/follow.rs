//! `weigh --follow`: a recording as it comes, line by line, in constant memory; with `--state`, through power cuts.

use std::io::{self, Write};
use std::path::Path;

use formats::Problems;
use formats::recording::{LiveLine, Reader, Sample};
use weigh::{WeighReport, Weigher};

use super::live_actions::LiveActions;
use super::state::StateFile;
use super::told::Told;
use crate::cli::WeighArgs;
use crate::failure::Failure;
use crate::files;

/// Without any other reason the state is kept anew after so long, s of the recording.
const KEEP_S: f64 = 5.0;
/// The actions are looked at anew after so long, s of the recording.
const ACTIONS_S: f64 = 1.0;
/// Of bad lines in a row so many are told one by one.
const TOLD_IN_A_ROW: usize = 5;

/// Follows the recording to its end.
pub(super) fn follow(args: &WeighArgs, recording: &Path) -> Result<WeighReport, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let calibration = files::read_calibration(&args.calibration, &deck)?;
    let (mut live, actions) = LiveActions::open(args.actions.as_deref())?;
    let mut reader = Reader::new(&named(recording), files::open(recording)?, &deck)?;
    let options = weigh::Options { every_s: args.every, start: args.start };
    let mut weigher = Weigher::new(&deck, &calibration, reader.header(), &actions, options)
        .map_err(|e| Failure::stage(recording, &e))?;
    let mut state = args.state.as_deref().map(|path| StateFile::open(path, &mut weigher)).transpose()?;
    let resumed = state.as_ref().is_some_and(|(_, resumed)| *resumed);
    if let Some(t_s) = weigher.weighed_s() {
        log(&format!("goes on from {t_s} s: lines up to then were weighed before and are passed over"));
    }
    let mut told = Told::open(args.json, args.output.as_deref(), args.start.is_some(), resumed)?;
    let (mut sample, mut bad, mut kept) = (Sample::default(), BadLines::default(), Kept::default());
    let (mut n_samples, mut n_weighed) = (0_u64, 0_u64);
    let mut look_s = f64::NEG_INFINITY;
    loop {
        match reader.next_live(&mut sample)? {
            LiveLine::End => break,
            LiveLine::Bad(problems) => {
                bad.tell(&problems);
                continue;
            }
            LiveLine::Sample => bad.over(),
        }
        n_samples += 1;
        n_weighed += u64::from(weigher.weighed_s().is_none_or(|before_s| sample.t_s > before_s));
        let row = weigher.push(&sample);
        if let Some((state, _)) = &mut state
            && kept.is_due(&weigher)
        {
            state.keep(&weigher)?;
        }
        if let Some(row) = row {
            told.news(&weigher.news())?;
            told.row(&row, weigher.open_kg())?;
        }
        // Each second, however seldom rows are asked for: what was entered must not wait for a row.
        if sample.t_s >= look_s || sample.t_s < look_s - ACTIONS_S {
            look_s = sample.t_s + ACTIONS_S;
            match live.added() {
                Ok(added) => added.into_iter().for_each(|action| weigher.act(action)),
                Err(failure) => log(&failure.to_string()),
            }
        }
    }
    bad.over();
    if n_samples > 0 && n_weighed == 0 {
        let since = weigher.weighed_s().unwrap_or(0.0);
        return Err(Failure::Stage(format!(
            "{}: nothing was weighed, all times lie before {since} s, up to which the state was kept (if the clock of the deck began anew, begin with a new state file and a new tare)",
            named(recording)
        )));
    }
    if let Some((state, _)) = &mut state {
        state.keep(&weigher)?;
    }
    told.news(&weigher.news())?;
    let report = weigher.finish();
    told.end(&deck.name, &report)?;
    Ok(report)
}

fn named(recording: &Path) -> String {
    if recording == Path::new("-") { "standard input".to_owned() } else { files::name(recording) }
}

fn log(text: &str) {
    // If standard error is closed there is nobody left to tell.
    let _ = writeln!(io::stderr(), "bedplate: {text}");
}

/// When the state was kept last.
#[derive(Default)]
struct Kept {
    happened: u64,
    t_s: Option<f64>,
}

impl Kept {
    /// At once when something happened, else now and then.
    fn is_due(&mut self, weigher: &Weigher) -> bool {
        let (happened, t_s) = (weigher.happened(), weigher.t_s());
        let due = happened != self.happened || self.t_s.is_none_or(|kept_s| t_s - kept_s >= KEEP_S);
        if due {
            *self = Self { happened, t_s: Some(t_s) };
        }
        due
    }
}

/// Lines that are no samples: the first few of a run are told one by one, the others counted.
#[derive(Default)]
struct BadLines {
    in_a_row: usize,
}

impl BadLines {
    fn tell(&mut self, problems: &Problems) {
        self.in_a_row += 1;
        if self.in_a_row <= TOLD_IN_A_ROW {
            log(&format!("passed over: {problems}"));
        } else if self.in_a_row == TOLD_IN_A_ROW + 1 {
            log("passed over: more bad lines, counted until a good one comes");
        }
    }

    fn over(&mut self) {
        if self.in_a_row > TOLD_IN_A_ROW {
            log(&format!("passed over: {} bad lines in a row", self.in_a_row));
        }
        self.in_a_row = 0;
    }
}
