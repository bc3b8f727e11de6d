//! A deck on the other end of a wire: its counts as lines, its plates under the hands of a test.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use link::line::{Frame, write};
use tokio::io::{AsyncWrite, AsyncWriteExt as _};
use tokio::task::JoinHandle;
use twin::LiveBench;

/// Seconds between samples by the deck's own clock, and how many times as fast as ours that runs.
const DT_S: f64 = 0.1;
const SPEED: f64 = 50.0;

/// The deck; clones of it are the same deck.
#[derive(Clone)]
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) struct WiredDeck {
    bench: Arc<Mutex<LiveBench>>,
    plates: Vec<String>,
    /// What its sensors say of its sections, in their order, °.
    angles_deg: Arc<Mutex<Vec<f64>>>,
    /// What its thermometer shows, °C, where it has one.
    shows_c: Arc<Mutex<Option<f64>>>,
    given: Arc<AtomicU64>,
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
impl WiredDeck {
    /// The demo's deck; its cells are drawn from a number.
    pub(crate) fn new(seed: u64) -> Self {
        let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).expect("a deck");
        let plates = deck.plates.iter().map(|p| p.name.clone()).collect();
        let bench = LiveBench::new(&deck, seed).expect("a bench");
        let angles_deg = Arc::new(Mutex::new(vec![0.0; deck.sections.len()]));
        Self { bench: Arc::new(Mutex::new(bench)), plates, angles_deg, shows_c: Arc::default(), given: Arc::default() }
    }

    /// Gives a line a sample from now on, until the wire breaks or is cut. A controller that starts anew counts from 0.
    pub(crate) fn gives_to(&self, mut wire: impl AsyncWrite + Unpin + Send + 'static) -> JoinHandle<()> {
        let deck = self.clone();
        tokio::spawn(async move {
            for sequence in 0_u32.. {
                let counts = deck.bench.lock().expect("whole").next_counts(DT_S);
                let frame = Frame {
                    deck: "hornbeam-1".to_owned(),
                    sequence,
                    t_ms: u64::from(sequence) * 100,
                    temperature_c: *deck.shows_c.lock().expect("whole"),
                    tilt_deg: deck.angles_deg.lock().expect("whole").clone(),
                    counts: counts.into_iter().map(|c| Some(c.round() as i32)).collect(),
                };
                if wire.write_all((write(&frame) + "\r\n").as_bytes()).await.is_err() {
                    return;
                }
                deck.given.fetch_add(1, Ordering::Relaxed);
                tokio::time::sleep(Duration::from_secs_f64(DT_S / SPEED)).await;
            }
        })
    }

    /// Waits until so many more lines were given: what is asked for then is of the load that stands there now.
    pub(crate) async fn has_given(&self, more: u64) {
        let until = self.given.load(Ordering::Relaxed) + more;
        while self.given.load(Ordering::Relaxed) < until {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
    }

    pub(crate) fn put(&self, plate: &str, at_mm: [f64; 2], kg: f64) {
        let plate = self.plates.iter().position(|p| p == plate).expect("a plate of the deck");
        self.bench.lock().expect("whole").put(plate, at_mm, kg);
    }

    /// Several bodies at once.
    pub(crate) fn put_all(&self, bodies: &[(&str, [f64; 2], f64)]) {
        let index = |plate: &str| self.plates.iter().position(|p| p == plate).expect("a plate of the deck");
        let bodies: Vec<_> = bodies.iter().map(|(plate, at_mm, kg)| (index(plate), *at_mm, *kg)).collect();
        self.bench.lock().expect("whole").put_all(&bodies);
    }

    /// Moves one section near an angle and lays every other one flat.
    pub(crate) fn stand(&self, section: usize, deg: f64) {
        let mut bench = self.bench.lock().expect("whole");
        let mut angles_deg = self.angles_deg.lock().expect("whole");
        for (i, angle_deg) in angles_deg.iter_mut().enumerate() {
            *angle_deg = bench.raise(i, if i == section { deg } else { 0.0 }).expect("a section of the deck");
        }
    }

    /// Brings the room near a temperature, and gives the deck a thermometer that shows it.
    pub(crate) fn bring_to(&self, celsius: f64) -> f64 {
        let shown_c = self.bench.lock().expect("whole").bring_to(celsius);
        *self.shows_c.lock().expect("whole") = Some(shown_c);
        shown_c
    }

    pub(crate) fn take_off(&self) {
        self.bench.lock().expect("whole").take_off();
    }
}
