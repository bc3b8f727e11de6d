//! From what a link hears to what is kept.
//!
//! A bed's samples are taken in order; what is to be kept is handed to the writer, and the next samples are taken once it
//! is durable. Copies that a broker holds are let go only then. While the memory is away the bed waits with growing
//! pauses: a broker keeps what comes meanwhile, and on a wire the gap shows in the samples' numbers.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use link::pause::Pauses;
use link::transport::{Heard, Receipt};
use store::StoreError;
use store::journal::Kept;
use store::writer::Job;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::sync::oneshot;

use super::{Bed, Ward};
use crate::clock::now_us;

/// Messages of one bed that may wait.
const WAITING_MOST: usize = 64;
/// Copies of messages that a broker is let hold until the next job is kept.
const RECEIPTS_MOST: usize = 256;

/// A channel for what one bed's link hears.
#[must_use]
pub fn heard() -> (Sender<Heard>, Receiver<Heard>) {
    channel(WAITING_MOST)
}

/// Weighs a bed until its link ends.
pub async fn bed(ward: Arc<Ward>, bed: Arc<Bed>, mut heard: Receiver<Heard>) {
    let mut receipts: Vec<Receipt> = Vec::new();
    let mut pauses = Pauses::new(bed.setup.bed.len() as u64);
    while let Some(heard) = heard.recv().await {
        match heard {
            Heard::Up => {
                bed.note(|t| t.link = None);
                bed.with(|engine| engine.link_is(true));
            }
            Heard::Down { why, again_in } => {
                tracing::warn!(bed = bed.setup.bed, why, again_in_s = again_in.as_secs_f32(), "link down");
                bed.note(|t| t.link = Some(why));
                bed.with(|engine| engine.link_is(false));
            }
            Heard::Rubbish(error) => {
                tracing::debug!(bed = bed.setup.bed, %error, "a line that is no sample");
                bed.with(crate::bed::Engine::rubbish);
            }
            Heard::Frames { frames, receipt } => {
                let mut any = false;
                for frame in &frames {
                    match bed.with(|engine| engine.take(frame, now_us())) {
                        // Before the next one is taken: the engine learns the numbers of its events from this very job.
                        Ok(Some(job)) => {
                            any = true;
                            keep(&ward, &bed, job, &mut pauses).await;
                        }
                        Ok(None) => {}
                        Err(error) => tracing::debug!(bed = bed.setup.bed, %error, "a sample that was not taken"),
                    }
                }
                receipts.push(receipt);
                // What came since the last job is kept with the next: until then the broker has the only copy.
                if any || receipts.len() >= RECEIPTS_MOST {
                    for receipt in receipts.drain(..) {
                        receipt.kept().await;
                    }
                }
            }
        }
    }
}

/// Keeps a job, however long it takes; what is refused for good is told and passed over.
async fn keep(ward: &Ward, bed: &Bed, job: Job, pauses: &mut Pauses) {
    loop {
        match try_keep(ward, job.clone()).await {
            Ok(kept) => {
                let numbers: Vec<i64> = kept.iter().map(|k| k.number).collect();
                bed.with(|engine| engine.was_kept(&numbers));
                bed.note(|t| t.memory = None);
                pauses.worked();
                return;
            }
            Err(error) if error.is_passing() => {
                let pause = pauses.next_pause();
                tracing::error!(bed = bed.setup.bed, %error, again_in_s = pause.as_secs_f32(), "not kept yet");
                bed.note(|t| t.memory = Some(error.to_string()));
                tokio::time::sleep(pause).await;
            }
            Err(error) => {
                tracing::error!(bed = bed.setup.bed, %error, "refused by the memory");
                bed.note(|t| t.memory = Some(error.to_string()));
                return;
            }
        }
    }
}

async fn try_keep(ward: &Ward, job: Job) -> Result<Vec<Kept>, StoreError> {
    let (tell, told) = oneshot::channel();
    // Nobody may be left to tell: then the outcome is of no interest.
    let mut waiting = (job, Box::new(move |outcome| drop(tell.send(outcome))) as store::writer::Answer);
    loop {
        match ward.memory.writer().try_hand_in(waiting.0, waiting.1) {
            Ok(()) => break,
            Err(back) => waiting = back,
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    told.await.map_err(|_| StoreError::Closed)?
}

/// Hands what one broker brings to the beds whose decks sign it.
pub async fn dispatch(ward: Arc<Ward>, beds: Vec<(Arc<Bed>, Sender<Heard>)>, mut heard: Receiver<Heard>) {
    let by_deck: HashMap<&str, &Sender<Heard>> =
        beds.iter().map(|(bed, to)| (bed.setup.signs_as.as_str(), to)).collect();
    while let Some(heard) = heard.recv().await {
        match heard {
            Heard::Frames { frames, receipt } => {
                let signed = frames.first().map(|f| f.deck.as_str()).unwrap_or_default();
                match by_deck.get(signed) {
                    // A bed whose task has ended takes nothing: the broker keeps its copy.
                    Some(to) => drop(to.send(Heard::Frames { frames, receipt }).await),
                    None => {
                        tracing::debug!(ward = ward.name, deck = signed, "samples of a deck that lies in no bed");
                        receipt.kept().await;
                    }
                }
            }
            Heard::Up => {
                for (_, to) in &beds {
                    drop(to.send(Heard::Up).await);
                }
            }
            Heard::Down { why, again_in } => {
                for (_, to) in &beds {
                    drop(to.send(Heard::Down { why: why.clone(), again_in }).await);
                }
            }
            // Whose it was meant to be is not known.
            Heard::Rubbish(error) => tracing::debug!(ward = ward.name, %error, "a line that is no sample"),
        }
    }
}
