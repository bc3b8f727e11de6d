//! Links that are no wire: a recording in its own time, the twin.

use std::time::Duration;

use formats::recording::Sample;
use link::line::Frame;
use link::transport::{Heard, Receipt};
use tokio::sync::mpsc::{Receiver, Sender};

use crate::clock::now_us;

/// Plays samples in their own time until they end or nobody listens. Their times count from `begin_us`, µs of UTC.
#[allow(clippy::cast_precision_loss, reason = "years in microseconds fit")]
pub async fn play(signs_as: String, begin_us: i64, mut samples: Receiver<Result<Sample, String>>, out: Sender<Heard>) {
    // The link stands with its first sample: before that a past may be lived through.
    let mut is_up = false;
    let mut sequence = 0_u32;
    let why = loop {
        match samples.recv().await {
            None => break "the recording has ended".to_owned(),
            Some(Err(error)) => break error,
            Some(Ok(sample)) => {
                if !is_up && out.send(Heard::Up).await.is_err() {
                    return;
                }
                is_up = true;
                let wait_s = sample.t_s - (now_us() - begin_us) as f64 / 1e6;
                if wait_s > 0.0 {
                    // A row of a far future is waited for as long as there is time.
                    tokio::time::sleep(Duration::try_from_secs_f64(wait_s).unwrap_or(Duration::MAX)).await;
                }
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
