//! From what a link hears to what is to be kept.
//!
//! A bed's samples are taken in order, whatever the memory does; what is to be kept goes to the [`backlog`](super::backlog), with
//! the broker's copies of the samples that it rests on. They are let go once it is durable.

use std::collections::HashMap;
use std::sync::Arc;

use link::transport::{Heard, Receipt};
use store::writer::Job;
use tokio::sync::mpsc::{Receiver, Sender, channel};

use super::backlog::Brought;
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

/// Weighs a bed until its link ends or nobody keeps what it brings.
pub async fn bed(bed: Arc<Bed>, mut heard: Receiver<Heard>, keep: Sender<Brought>) {
    let mut receipts: Vec<Receipt> = Vec::new();
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
                let mut jobs: Vec<Job> = Vec::new();
                for frame in &frames {
                    match bed.with(|engine| engine.take(frame, now_us())) {
                        Ok(Some(job)) => jobs.push(job),
                        Ok(None) => {}
                        Err(error) => tracing::debug!(bed = bed.setup.bed, %error, "a sample that was not taken"),
                    }
                }
                receipts.push(receipt);
                // What came since the last job is kept with the next: until then the broker has the only copy. A job of nothing
                // lets go of the copies of a deck whose samples make no row.
                if jobs.is_empty() && receipts.len() >= RECEIPTS_MOST {
                    jobs.push(Job::default());
                }
                let last = jobs.len();
                for (place, job) in (1..).zip(jobs) {
                    let receipts = if place == last { std::mem::take(&mut receipts) } else { Vec::new() };
                    if keep.send(Brought { bed: Arc::clone(&bed), job, receipts }).await.is_err() {
                        return;
                    }
                }
            }
        }
    }
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
