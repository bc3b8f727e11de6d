//! Links that stay up: serial line, TCP, MQTT, all to one bounded channel.
//!
//! A link runs until its receiver is gone. When what it hears is not taken fast enough it stops reading; the way before it
//! fills, and what is then lost shows in the samples' numbers. Nothing here grows without bound.

mod mqtt;
mod owed;
mod stream;

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use tokio::sync::mpsc::Sender;

use crate::line::{Frame, LineError};

pub use mqtt::{Broker, Secret};

/// A link without a word for so long is taken for dead and made anew.
const SILENCE_MOST: Duration = Duration::from_secs(15);
/// How long an attempt at a connection may take.
const CONNECT_MOST: Duration = Duration::from_secs(10);

/// Where a deck's samples come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// A serial line.
    Serial {
        /// The device, such as `/dev/ttyUSB0`.
        path: String,
        /// Bits a second.
        baud: u32,
    },
    /// A controller that listens on TCP.
    Tcp {
        /// Host and port.
        address: String,
    },
    /// Topics of a broker; a deck publishes its lines, one or several a message.
    Mqtt(Broker),
}

/// What a link hears.
#[derive(Debug)]
pub enum Heard {
    /// The connection stands.
    Up,
    /// The connection is lost; the next attempt follows.
    Down {
        /// Why, in words.
        why: String,
        /// The pause before the next attempt.
        again_in: Duration,
        /// Most likely another uses our name there, and the two throw each other out.
        has_rival: bool,
    },
    /// Nothing will come any more, nor is it tried again: a recording is at its end.
    Ended {
        /// Why, in words.
        why: String,
    },
    /// Samples, and whom to thank once they are kept.
    Frames {
        /// In the order of arrival.
        frames: Vec<Frame>,
        /// Told once they are kept: a broker then forgets its copy. Dropped untold, it brings them again.
        receipt: Receipt,
    },
    /// A line that is no sample.
    Rubbish(LineError),
}

/// Whom to tell that samples are kept.
#[derive(Debug)]
pub struct Receipt(Option<Arc<Shared>>);

/// A broker's copy, and how many parts of what it brought are not kept yet.
#[derive(Debug)]
struct Shared {
    copy: mqtt::Copy,
    left: AtomicUsize,
}

impl Receipt {
    /// For samples of which nobody keeps a copy.
    #[must_use]
    pub fn none() -> Self {
        Self(None)
    }

    fn of(copy: Option<mqtt::Copy>) -> Self {
        Self(copy.map(|copy| Arc::new(Shared { copy, left: AtomicUsize::new(1) })))
    }

    /// Receipts for so many parts of the samples: the copy goes once each of them is kept, and stays where one is not.
    #[must_use]
    pub fn parts(self, many: usize) -> Vec<Self> {
        if let Some(shared) = &self.0 {
            shared.left.fetch_add(many.saturating_sub(1), Ordering::Relaxed);
        }
        (0..many).map(|_| Self(self.0.clone())).collect()
    }

    /// They are kept.
    pub async fn kept(self) {
        if let Some(shared) = self.0
            && shared.left.fetch_sub(1, Ordering::AcqRel) == 1
        {
            shared.copy.forget();
        }
    }
}

/// Runs a link until nobody listens any more. `seed` is where the chance in its pauses begins.
pub async fn run(source: Source, seed: u64, out: Sender<Heard>) {
    match source {
        Source::Serial { path, baud } => stream::run(&stream::Way::Serial { path, baud }, seed, &out).await,
        Source::Tcp { address } => stream::run(&stream::Way::Tcp { address }, seed, &out).await,
        Source::Mqtt(broker) => mqtt::run(&broker, seed, &out).await,
    }
}

/// Waits before the next attempt; `false` when nobody listens any more.
async fn wait(out: &Sender<Heard>, why: String, again_in: Duration, has_rival: bool) -> bool {
    if out.send(Heard::Down { why, again_in, has_rival }).await.is_err() {
        return false;
    }
    tokio::select! {
        () = out.closed() => false,
        () = tokio::time::sleep(again_in) => true,
    }
}

/// The samples of some lines; what is no sample is told on its own.
struct Sorted {
    frames: Vec<Frame>,
    rubbish: Vec<LineError>,
}

impl Sorted {
    fn new() -> Self {
        Self { frames: Vec::new(), rubbish: Vec::new() }
    }

    fn line(&mut self, line: &[u8]) {
        match crate::line::read(line) {
            Ok(frame) => self.frames.extend(frame),
            Err(error) => self.rubbish.push(error),
        }
    }

    /// Hands all on; `false` when nobody listens any more.
    async fn send(self, out: &Sender<Heard>, receipt: Receipt) -> bool {
        for error in self.rubbish {
            if out.send(Heard::Rubbish(error)).await.is_err() {
                return false;
            }
        }
        // Without samples there is nothing to keep, and a copy of rubbish need not come again.
        if self.frames.is_empty() {
            receipt.kept().await;
            return true;
        }
        out.send(Heard::Frames { frames: self.frames, receipt }).await.is_ok()
    }
}
