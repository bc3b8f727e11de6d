//! A controller's own end of a link: gives a deck's lines to who asks for them. For the twin, and for tests that need a deck.
//!
//! Nobody waits for a slow reader: lines that it does not take are lost to it, as on a real wire, and show in the samples'
//! numbers.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::{AsyncClient, MqttOptions};
use tokio::io::AsyncWriteExt as _;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::broadcast;

use crate::line::{self, Frame};

/// Lines that one slow reader may be behind.
const BEHIND_MOST: usize = 64;
/// Messages that a broker may owe an answer for.
const UNANSWERED_MOST: u16 = 10_000;
/// Messages that may wait while the broker is away, some 60 MB: an hour of 69 beds at 1 Hz, or of 6 at 10 Hz.
const WAITING_MOST: usize = 250_000;
/// Pause after a broker was not reached.
const AGAIN: Duration = Duration::from_secs(1);

/// A deck that gives its lines to everybody who connects.
#[derive(Debug, Clone)]
pub struct Listening {
    lines: broadcast::Sender<Arc<str>>,
}

impl Listening {
    /// Takes connections on a listener from now on, until the runtime ends.
    #[must_use]
    pub fn on(listener: TcpListener) -> Self {
        let (lines, _) = broadcast::channel(BEHIND_MOST);
        let given = lines.clone();
        tokio::spawn(async move {
            loop {
                match listener.accept().await {
                    Ok((stream, _)) => drop(tokio::spawn(give(stream, given.subscribe()))),
                    // Out of handles, say: the next may be taken.
                    Err(_) => tokio::time::sleep(AGAIN).await,
                }
            }
        });
        Self { lines }
    }

    /// Gives a sample to all who are connected.
    pub fn give(&self, frame: &Frame) {
        // Nobody may be connected.
        drop(self.lines.send((line::write(frame) + "\n").into()));
    }

    /// Connections that stand.
    #[must_use]
    pub fn connections(&self) -> usize {
        self.lines.receiver_count()
    }
}

async fn give(mut stream: TcpStream, mut lines: broadcast::Receiver<Arc<str>>) {
    loop {
        match lines.recv().await {
            Ok(line) => {
                if stream.write_all(line.as_bytes()).await.is_err() {
                    return;
                }
            }
            Err(broadcast::error::RecvError::Lagged(_)) => {}
            Err(broadcast::error::RecvError::Closed) => return,
        }
    }
}

/// Decks that publish their lines to one broker, each under a topic of its own.
#[derive(Debug, Clone)]
pub struct Publishing {
    client: AsyncClient,
    stands: Arc<AtomicBool>,
}

impl Publishing {
    /// Connects in the background, and again whenever the connection is lost.
    #[must_use]
    pub fn to(host: &str, port: u16, client: &str) -> Self {
        let mut options = MqttOptions::new(client, host, port);
        options.set_keep_alive(Duration::from_secs(10));
        options.set_outgoing_inflight_upper_limit(UNANSWERED_MOST);
        let (client, mut events) = AsyncClient::new(options, WAITING_MOST);
        let stands = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stands);
        tokio::spawn(async move {
            loop {
                let came = events.poll().await;
                told.store(came.is_ok(), Ordering::Relaxed);
                if came.is_err() {
                    tokio::time::sleep(AGAIN).await;
                }
            }
        });
        Self { client, stands }
    }

    /// Whether the broker answered last.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.stands.load(Ordering::Relaxed)
    }

    /// Publishes a sample so that it comes at least once; `false` where too many wait and it is lost.
    #[must_use]
    pub fn give(&self, topic: &str, frame: &Frame) -> bool {
        self.client.try_publish(topic, QoS::AtLeastOnce, false, line::write(frame)).is_ok()
    }
}
