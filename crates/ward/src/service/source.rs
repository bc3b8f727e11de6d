//! Links that are no wire: a recording in its own time, the twin.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;

use formats::recording::Sample;
use link::line::Frame;
use link::transport::{Heard, Receipt};
use tokio::sync::mpsc::{Receiver, Sender, channel};

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
    drop(out.send(Heard::Ended { why }).await);
    out.closed().await;
}

/// Makes samples on a thread of its own and gives what is to be played. That the work failed, or panicked, is told as that and not as the
/// end of a recording.
pub fn made_by<W>(ahead: usize, work: W) -> Receiver<Result<Sample, String>>
where
    W: FnOnce(&Sender<Result<Sample, String>>) -> Result<(), String> + Send + 'static,
{
    let (give, take) = channel(ahead);
    std::thread::spawn(move || {
        let done = catch_unwind(AssertUnwindSafe(|| work(&give)));
        if let Err(why) = done.unwrap_or_else(|_| Err("stopped by a fault of the program".to_owned())) {
            // Nobody may be left to tell.
            drop(give.blocking_send(Err(why)));
        }
    });
    take
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What is heard of samples that are made so.
    async fn told(work: impl FnOnce(&Sender<Result<Sample, String>>) -> Result<(), String> + Send + 'static) -> String {
        let (out, mut heard) = channel(8);
        tokio::spawn(play("deck of A1".to_owned(), now_us(), made_by(1, work), out));
        match heard.recv().await {
            Some(Heard::Ended { why }) => why,
            other => panic!("{other:?}"),
        }
    }

    #[tokio::test]
    async fn an_end_a_failure_and_a_panic_are_told_apart() {
        assert_eq!(told(|_| Ok(())).await, "the recording has ended");
        assert_eq!(told(|_| Err("row 3: no count".to_owned())).await, "row 3: no count");
        assert_eq!(told(|_| panic!("on purpose")).await, "stopped by a fault of the program");
    }
}
