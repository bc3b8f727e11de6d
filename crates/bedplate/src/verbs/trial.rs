//! `twin trial`: many invented wards on all cores, each calibrated, weighed and held against its truth.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::Sample;
use formats::weights::Weight;
use indicatif::ProgressBar;
use twin::trial::{self, Card, Engine, Found, Kind, Label, PLATES, Setting, Tally};
use twin::{BenchOptions, BuiltDeck, Night, Scenario, TwinError};
use weigh::{EventKind, WeighReport, Weigher};

use crate::cli::TrialArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};
use crate::progress;
use crate::stop::Stop;

/// Hours of a run that no scenario gives a length.
const HOURS: f64 = 24.0;

pub(crate) fn run(args: &TrialArgs) -> Result<Outcome, Failure> {
    let plan = Plan::of(args)?;
    let threads = args.threads.count();
    let stop = Stop::on_ctrl_c();
    let tally = all_runs(&plan, threads, &stop)?;
    let report = tally.report();
    output::report(args.json, &report, report::text::trial)?;
    // Stopped before a run was done, nothing was shown.
    Ok(Outcome::of(report.runs > 0 && report.limits.iter().all(|l| l.met != Some(false))))
}

/// What is to be run, and the decks that it is run on, solved once.
struct Plan {
    runs: usize,
    hours: f64,
    seed: u64,
    scenarios: Vec<Scenario>,
    /// By number of plates; a deck of the user's own stands under 0.
    decks: BTreeMap<usize, (Deck, BuiltDeck)>,
    own_deck: bool,
    cables: bool,
}

impl Plan {
    fn of(args: &TrialArgs) -> Result<Self, Failure> {
        if let Some(hours) = args.hours.filter(|h| !(0.2..=24.0 * 60.0).contains(h)) {
            return Err(Failure::Stage(format!("--hours {hours}: expected 0.2 to 1440 (60 days)")));
        }
        let scenarios =
            args.scenarios.iter().map(|path| scenario(path, args.hours)).collect::<Result<Vec<_>, Failure>>()?;
        let own = args.deck.as_deref().map(files::read_deck).transpose()?;
        let own_deck = own.is_some();
        let of_demo = || formats::deck::read("deck.toml", twin::demo::DECK_TOML).map_err(Failure::from);
        let decks: Vec<(usize, Deck)> = match (own, scenarios.is_empty()) {
            (Some(deck), _) => vec![(0, deck)],
            (None, false) => vec![(0, of_demo()?)],
            (None, true) => PLATES
                .into_iter()
                .map(|n| trial::deck_of(n).map(|deck| (n, deck)))
                .collect::<Result<_, _>>()
                .map_err(|e| stage(&e))?,
        };
        let spread = Scenario::default().cell_spread();
        let built = decks.into_iter().map(|(n, deck)| {
            let built = BuiltDeck::build(&deck, &spread, args.seed).map_err(|e| stage(&e))?;
            Ok((n, (deck, built)))
        });
        let decks = built.collect::<Result<BTreeMap<_, _>, Failure>>()?;
        let hours = args.hours.or_else(|| scenarios.first().map(|s| s.hours)).unwrap_or(HOURS);
        Ok(Self { runs: args.runs.get(), hours, seed: args.seed, scenarios, decks, own_deck, cables: args.cables })
    }

    fn setting(&self, run: usize) -> Setting {
        if self.scenarios.is_empty() {
            let setting = Setting::draw(self.seed, run, self.hours);
            // Faults name cells of the built-in deck.
            match (self.own_deck, self.cables) {
                (true, _) => setting.on_another_deck(),
                (false, true) => setting.with_cables(),
                (false, false) => setting,
            }
        } else {
            let place = run % self.scenarios.len();
            Setting::of(&self.scenarios[place], place, self.seed, run)
        }
    }

    /// One run: its deck is built of cells of its own, calibrated, and weighs a patient through the hours.
    fn card(&self, setting: &Setting) -> Result<Card, Failure> {
        let name = &setting.scenario.name;
        let failed = |what: &str, e: &dyn std::fmt::Display| Failure::Stage(format!("{name}: {what}: {e}"));
        let (deck, solved) = self.decks.get(&setting.plates).ok_or_else(|| failed("deck", &"no such deck"))?;
        let (scenario, seed) = (&setting.scenario, setting.seed);
        let spread = scenario.cell_spread();
        let built = solved.with_cells(deck, &spread, seed).map_err(|e| failed("deck", &e))?;
        let options = BenchOptions { spread, ..BenchOptions::default() };
        let bench = twin::bench::run::bench_run_of(deck, &built, seed, &options).map_err(|e| failed("bench", &e))?;
        let made = calibrate::Options::new(files::now());
        let calibration = calibrate::calibrate(deck, &bench.run, &made).map_err(|e| failed("calibration", &e))?;
        let mut night = Night::new(deck, &built, scenario, seed).map_err(|e| failed("scenario", &e))?;
        let mut engine = Weighing::new(deck, &calibration, &night).map_err(|e| failed("weighing", &e))?;
        trial::score(&mut night, &mut engine).map_err(|e| failed("scenario", &e))
    }
}

fn stage(error: &TwinError) -> Failure {
    Failure::Stage(error.to_string())
}

fn scenario(path: &Path, hours: Option<f64>) -> Result<Scenario, Failure> {
    let scenario = Scenario::read(&files::name(path), &files::read_text(path)?).map_err(|e| stage(&e))?;
    Ok(Scenario { hours: hours.unwrap_or(scenario.hours), ..scenario })
}

/// Cards that wait for those before them, so that the sums do not depend on which thread was first.
struct Ordered {
    tally: Tally,
    next: usize,
    waiting: BTreeMap<usize, (Vec<Label>, Card)>,
    failure: Option<Failure>,
}

impl Ordered {
    fn take(&mut self, run: usize, labels: Vec<Label>, card: Card) {
        self.waiting.insert(run, (labels, card));
        while let Some((labels, card)) = self.waiting.remove(&self.next) {
            self.tally.add(&labels, &card);
            self.next += 1;
        }
    }
}

/// Makes the runs, each thread taking the next that nobody has, until all are made or `stop`.
fn all_runs(plan: &Plan, threads: usize, stop: &Stop) -> Result<Tally, Failure> {
    let bar = progress::bar(plan.runs as u64, "living through the wards");
    let next = AtomicUsize::new(0);
    let tally = Tally::new(plan.runs, plan.hours, plan.seed);
    let ordered = Mutex::new(Ordered { tally, next: 0, waiting: BTreeMap::new(), failure: None });
    thread::scope(|scope| {
        for _ in 0..threads.min(plan.runs) {
            scope.spawn(|| work(plan, &next, &ordered, stop, &bar));
        }
    });
    bar.finish_and_clear();
    let mut ordered = ordered.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    if let Some(failure) = ordered.failure {
        return Err(failure);
    }
    // After a stop, runs may stand here whose predecessor was not made.
    for (labels, card) in std::mem::take(&mut ordered.waiting).into_values() {
        ordered.tally.add(&labels, &card);
    }
    Ok(ordered.tally)
}

fn work(plan: &Plan, next: &AtomicUsize, ordered: &Mutex<Ordered>, stop: &Stop, bar: &ProgressBar) {
    // A thread that panicked has told so; the sums of the others are whole, as a card is added in one go.
    let lock = || ordered.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    while !stop.asked() && lock().failure.is_none() {
        let run = next.fetch_add(1, Ordering::Relaxed);
        if run >= plan.runs {
            return;
        }
        let setting = plan.setting(run);
        match plan.card(&setting) {
            Ok(card) => lock().take(run, setting.labels, card),
            Err(failure) => lock().failure = Some(failure),
        }
        bar.inc(1);
    }
}

/// The weighing stage as an engine under trial.
struct Weighing(Weigher);

impl Weighing {
    fn new(deck: &Deck, calibration: &Calibration, night: &Night<'_>) -> Result<Self, weigh::WeighError> {
        let options = weigh::Options::default();
        Weigher::new(deck, calibration, night.header(), night.actions(), options).map(Self)
    }
}

impl Engine for Weighing {
    fn weigh(&mut self, sample: &Sample) -> Option<Weight> {
        self.0.push(sample)
    }

    fn found(&mut self) -> Vec<Found> {
        let WeighReport { events, .. } = self.0.report();
        events.iter().filter_map(found).collect()
    }
}

/// An event of the weighing stage in the words of a trial; a sentence without a size is no finding of a thing.
fn found(event: &weigh::Event) -> Option<Found> {
    let kind = match event.kind {
        EventKind::Step | EventKind::Added | EventKind::Removed => Kind::Thing,
        EventKind::PatientOn => Kind::PatientOn,
        EventKind::PatientOff => Kind::PatientOff,
        EventKind::Turned => Kind::Turned,
        EventKind::Contact => Kind::Contact,
        EventKind::Shunt => Kind::Shunt,
        EventKind::BedMoved => Kind::BedMoved,
    };
    let kg = match kind {
        Kind::Thing => event.kg?,
        _ => event.kg.unwrap_or(0.0),
    };
    Some(Found { t_s: event.t_s, kind, kg, at_mm: event.x_mm.zip(event.y_mm).map(|(x, y)| [x, y]) })
}
