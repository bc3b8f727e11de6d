//! A bed that the virtual twin lives in: first its past at once, then in real time. Whatever the invented carers do, chart and
//! tare goes through the same doors as what people do.

use std::sync::Arc;

use formats::chart::Entry;
use formats::recording::Sample;
use jiff::{SignedDuration, Timestamp};
use link::transport::Heard;
use tokio::sync::mpsc::Sender;
use twin::{BuiltDeck, Night, Scenario};
use ward::clock::now_us;
use ward::records::{ActionBody, ChartBody, RecordError};
use ward::service::{Bed, Past, Ward, source};

/// The author of what is invented.
const TWIN: &str = "twin";
/// Samples that are made ahead.
const AHEAD: usize = 16;

/// Lives in a bed, on a thread of its own: a night borrows what it was built from.
pub(super) fn live(ward: Arc<Ward>, bed: Arc<Bed>, scenario: Scenario, seed: u64, begin_us: i64, out: Sender<Heard>) {
    // A past is lived through once: a bed with a record goes on from now.
    let begin_us = if bed.is_new { begin_us } else { now_us() };
    let signs_as = bed.setup.signs_as.clone();
    let take = source::made_by(AHEAD, move |give| {
        Life { ward: &ward, bed: &bed, begin_us, give }.run(&scenario, seed).map_err(|error| error.to_string())
    });
    tokio::spawn(source::play(signs_as, begin_us, take, out));
}

/// Why a life ended early.
#[derive(Debug, thiserror::Error)]
enum LifeError {
    #[error(transparent)]
    Twin(#[from] twin::TwinError),
    #[error(transparent)]
    Record(#[from] RecordError),
}

struct Life<'a> {
    ward: &'a Ward,
    bed: &'a Bed,
    begin_us: i64,
    give: &'a Sender<Result<Sample, String>>,
}

impl Life<'_> {
    fn run(&self, scenario: &Scenario, seed: u64) -> Result<(), LifeError> {
        let setup = &self.bed.setup;
        let built = BuiltDeck::build(&setup.deck, &scenario.cell_spread(), seed)?;
        let mut night = Night::new(&setup.deck, &built, scenario, seed)?;
        let label = self.admit(&night)?;
        let begin = Timestamp::from_microsecond(self.begin_us).unwrap_or_default();
        let moved = begin.duration_since(scenario.start_time()?);
        let mut chart = night.chart().to_vec().into_iter().peekable();
        let mut actions = night.actions().to_vec().into_iter().peekable();
        let mut past = self.bed.is_new.then(|| Past::new(self.ward, self.bed, self.begin_us));
        let mut sample = Sample::default();
        while night.next_sample(&mut sample)? {
            let at_us = self.begin_us + (sample.t_s * 1e6) as i64;
            if past.is_some() && at_us >= now_us() {
                if let Some(mut past) = past.take() {
                    past.keep()?;
                }
                tracing::info!(bed = setup.bed, hours = sample.t_s / 3600.0, "the past was lived through");
            }
            while let Some(action) = actions.next_if(|a| a.t_s <= sample.t_s) {
                let word = action.kind.word().to_owned();
                let body = ActionBody { action: word, kg: action.kg, note: action.note, question: None };
                match &mut past {
                    Some(past) => past.act(action.t_s, TWIN, &body)?,
                    None => match self.ward.act(&setup.bed, TWIN, None, &body) {
                        // A night that begins anew where somebody lies since an earlier start.
                        Err(RecordError::Against(why)) => tracing::debug!(bed = setup.bed, why, "not done"),
                        done => drop(done?),
                    },
                }
            }
            while let Some(entry) = chart.next_if(|e| e.time + moved <= begin + span(sample.t_s)) {
                self.ward.chart(&label, TWIN, None, None, &charted(&entry, moved))?;
            }
            match &mut past {
                Some(past) => past.sample(&sample)?,
                None => {
                    if self.give.blocking_send(Ok(sample.clone())).is_err() {
                        return Ok(());
                    }
                }
            }
        }
        Ok(())
    }

    /// Enters the invented patient, once.
    fn admit(&self, night: &Night<'_>) -> Result<String, LifeError> {
        let mut file = night.patient_file().clone();
        file.patient.label = format!("{}-{}", self.bed.setup.bed, "invented");
        let label = self.ward.put_patient(&formats::patient::write(&file), TWIN)?;
        let bed = &self.bed.setup.bed;
        match self.ward.admit_at(bed, &label, TWIN, self.begin_us) {
            // Since an earlier start.
            Err(RecordError::Against(_)) => {}
            done => done?,
        }
        Ok(label)
    }
}

fn span(t_s: f64) -> SignedDuration {
    SignedDuration::from_secs_f64(t_s)
}

fn charted(entry: &Entry, moved: SignedDuration) -> ChartBody {
    ChartBody {
        time: entry.time + moved,
        direction: entry.direction.word().into(),
        route: entry.route.word().into(),
        volume_ml: entry.volume_ml,
        leaves_deck: entry.leaves_deck,
        note: entry.note.clone(),
    }
}
