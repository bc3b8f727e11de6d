//! Links that are no wire: a recording in its own time, the twin.

use std::time::Duration;

use formats::recording::Sample;
use link::line::Frame;
use link::transport::{Heard, Receipt};
use tokio::sync::mpsc::Sender;
use tokio::time::Instant;

/// Plays samples in their own time, `speed` times as fast, until they end or nobody listens. `next` gives one after the
/// other; their times count from 0.
pub async fn play(
    signs_as: String,
    speed: f64,
    mut next: impl FnMut() -> Option<Result<Sample, String>> + Send + 'static,
    out: Sender<Heard>,
) {
    if out.send(Heard::Up).await.is_err() {
        return;
    }
    let begin = Instant::now();
    let mut sequence = 0_u32;
    let why = loop {
        match next() {
            None => break "the recording has ended".to_owned(),
            Some(Err(error)) => break error,
            Some(Ok(sample)) => {
                tokio::time::sleep_until(begin + Duration::from_secs_f64((sample.t_s / speed).max(0.0))).await;
                let frame = frame(&signs_as, sequence, &sample);
                sequence = sequence.wrapping_add(1);
                if out.send(Heard::Frames { frames: vec![frame], receipt: Receipt::none() }).await.is_err() {
                    return;
                }
            }
        }
    };
    // Nobody may be left to tell.
    drop(out.send(Heard::Down { why, again_in: Duration::MAX }).await);
    out.closed().await;
}

/// A sample as a controller would send it.
#[must_use]
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a count beyond 32 bits is held at their end"
)]
pub fn frame(signs_as: &str, sequence: u32, sample: &Sample) -> Frame {
    Frame {
        deck: signs_as.to_owned(),
        sequence,
        t_ms: (sample.t_s * 1e3).round().max(0.0) as u64,
        temperature_c: sample.temperature_c,
        tilt_deg: sample.tilt_deg.clone(),
        counts: sample.counts.iter().map(|c| c.map(|c| c.round() as i32)).collect(),
    }
}
