//! From what a link hears to what is to be kept.
//!
//! A bed's samples are taken in order, whatever the memory does; what is to be kept goes to the [`backlog`](super::backlog), with
//! the broker's copies of the samples that it rests on. They are let go once it is durable.

use std::collections::HashMap;
use std::sync::Arc;

use link::line::Frame;
use link::transport::{Heard, Receipt};
use store::writer::Job;
use tokio::sync::mpsc::error::SendError;
use tokio::sync::mpsc::{Receiver, Sender, channel};

use super::backlog::Brought;
use super::{Bed, Ward};
use crate::clock::{Setting, now_us};
use crate::records::RecordError;

/// Messages of one bed that may wait.
const WAITING_MOST: usize = 64;
/// Copies of messages that a broker is let hold until the next job is kept.
const RECEIPTS_MOST: usize = 256;
/// Copies of messages for beds that are weighed no more that one broker is let hold. It sends nothing more to who leaves as many
/// unacknowledged as its Receive Maximum is (MQTT 5.0, 3.3.4): beyond this they would take the room of all other beds.
const OF_THE_STOPPED_MOST: usize = 4_000;

/// A channel for what one bed's link hears.
#[must_use]
pub fn heard() -> (Sender<Heard>, Receiver<Heard>) {
    channel(WAITING_MOST)
}

/// Weighs a bed for as long as the process lives. Where that ends all the same, by a panic here or because nothing brings anything any
/// more, the bed says so: nobody is to take its last weight for one of now.
pub async fn watched(bed: Arc<Bed>, heard: Receiver<Heard>, keep: Sender<Brought>) {
    let weighed = tokio::spawn(self::bed(Arc::clone(&bed), heard, keep)).await;
    let why = match weighed {
        Ok(()) => "its link, or what keeps what it brings, has ended".to_owned(),
        Err(error) => error.to_string(),
    };
    tracing::error!(bed = bed.setup.bed, why, "a bed is weighed no more, by a fault of the program");
    bed.stop();
}

/// Weighs a bed until its link ends, nobody keeps what it brings or its engine has stopped.
pub async fn bed(bed: Arc<Bed>, mut heard: Receiver<Heard>, keep: Sender<Brought>) {
    let mut receipts: Vec<Receipt> = Vec::new();
    let mut setting = Setting::new();
    while let Some(heard) = heard.recv().await {
        if let Some((stood, set_us)) = setting.look() {
            if set_us != 0 {
                tracing::warn!(bed = bed.setup.bed, by_s = set_us / 1_000_000, "the clock of this machine was set");
            }
            if bed.with(|engine| engine.our_clock_stands(stood, set_us)).is_err() {
                return;
            }
        }
        let Ok(jobs) = hear(&bed, heard, &mut receipts) else { return };
        let last = jobs.len();
        for (place, job) in (1..).zip(jobs) {
            let receipts = if place == last { std::mem::take(&mut receipts) } else { Vec::new() };
            if keep.send(Brought { bed: Arc::clone(&bed), job, receipts }).await.is_err() {
                return;
            }
        }
    }
}

/// What is to be kept of what a link heard.
fn hear(bed: &Bed, heard: Heard, receipts: &mut Vec<Receipt>) -> Result<Vec<Job>, RecordError> {
    let mut jobs = Vec::new();
    match heard {
        Heard::Up => {
            bed.note(|t| (t.link, t.has_rival) = (None, false));
            bed.with(|engine| engine.link_is(true))?;
        }
        Heard::Down { why, again_in, has_rival } => {
            tracing::warn!(bed = bed.setup.bed, why, again_in_s = again_in.as_secs_f32(), "link down");
            bed.note(|t| (t.link, t.has_rival) = (Some(why), has_rival));
            bed.with(|engine| engine.link_is(false))?;
        }
        Heard::Ended { why } => {
            tracing::warn!(bed = bed.setup.bed, why, "link ended, for good");
            bed.note(|t| t.link = Some(why));
            bed.with(|engine| engine.link_is(false))?;
        }
        Heard::Rubbish(error) => {
            tracing::debug!(bed = bed.setup.bed, %error, "a line that is no sample");
            bed.with(crate::bed::Engine::rubbish)?;
        }
        Heard::Frames { frames, receipt } => {
            for frame in &frames {
                let (taken, unkept) =
                    bed.with(|engine| (engine.take(frame, now_us()), engine.unkept().map(ToString::to_string)))?;
                match taken {
                    Ok(Some(job)) => jobs.push(job),
                    Ok(None) => {}
                    Err(error) => tracing::debug!(bed = bed.setup.bed, %error, "a sample that was not taken"),
                }
                bed.note(|t| state_is(&bed.setup.bed, &mut t.state, unkept));
            }
            receipts.push(receipt);
            // What came since the last job is kept with the next: until then the broker has the only copy. A job of nothing
            // lets go of the copies of a deck whose samples make no row.
            if jobs.is_empty() && receipts.len() >= RECEIPTS_MOST {
                jobs.push(Job::default());
            }
        }
    }
    Ok(jobs)
}

/// Tells once that what must outlive a restart cannot be kept, and once that it is kept again.
fn state_is(bed: &str, before: &mut Option<String>, unkept: Option<String>) {
    match (&before, &unkept) {
        (None, Some(why)) => {
            tracing::warn!(bed, why, "the bed's state cannot be kept: a restart would need a new tare");
        }
        (Some(_), None) => tracing::info!(bed, "the bed's state is kept again"),
        _ => {}
    }
    *before = unkept;
}

/// The samples of a message by the decks that signed them, each in its order.
fn by_deck(frames: Vec<Frame>) -> Vec<Vec<Frame>> {
    let mut parts: Vec<Vec<Frame>> = Vec::new();
    for frame in frames {
        match parts.iter_mut().find(|part| part[0].deck == frame.deck) {
            Some(part) => part.push(frame),
            None => parts.push(vec![frame]),
        }
    }
    parts
}

/// Hands what one broker brings to the beds whose decks sign it.
pub async fn dispatch(ward: Arc<Ward>, beds: Vec<(Arc<Bed>, Sender<Heard>)>, mut heard: Receiver<Heard>) {
    let of_deck: HashMap<&str, &Sender<Heard>> =
        beds.iter().map(|(bed, to)| (bed.setup.signs_as.as_str(), to)).collect();
    let mut held = 0;
    while let Some(heard) = heard.recv().await {
        match heard {
            Heard::Frames { frames, receipt } => {
                // A gateway may put lines of several decks into one message: its copy goes once all of them are kept.
                let parts = by_deck(frames);
                let receipts = receipt.parts(parts.len());
                for (frames, receipt) in parts.into_iter().zip(receipts) {
                    let signed = frames.first().map(|f| f.deck.as_str()).unwrap_or_default();
                    match of_deck.get(signed) {
                        Some(to) => {
                            let back = to.send(Heard::Frames { frames, receipt }).await;
                            // A bed whose task has ended takes nothing: the broker keeps its copies, as many as leave room for the others.
                            if let Err(SendError(Heard::Frames { receipt, .. })) = back {
                                held += 1;
                                if held == OF_THE_STOPPED_MOST + 1 {
                                    let what = "samples of beds that are weighed no more are let go from here on";
                                    tracing::error!(ward = ward.name, what);
                                }
                                if held > OF_THE_STOPPED_MOST {
                                    receipt.kept().await;
                                }
                            }
                        }
                        None => {
                            tracing::debug!(ward = ward.name, deck = signed, "samples of a deck that lies in no bed");
                            receipt.kept().await;
                        }
                    }
                }
            }
            Heard::Up => {
                // On a new connection the broker brings all copies again that it holds.
                held = 0;
                for (_, to) in &beds {
                    drop(to.send(Heard::Up).await);
                }
            }
            Heard::Down { why, again_in, has_rival } => {
                for (_, to) in &beds {
                    drop(to.send(Heard::Down { why: why.clone(), again_in, has_rival }).await);
                }
            }
            Heard::Ended { why } => {
                for (_, to) in &beds {
                    drop(to.send(Heard::Ended { why: why.clone() }).await);
                }
            }
            // Whose it was meant to be is not known.
            Heard::Rubbish(error) => tracing::debug!(ward = ward.name, %error, "a line that is no sample"),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Read as _, Write as _};
    use std::net::{TcpListener, TcpStream};
    use std::time::Duration;

    use super::*;
    use crate::service::backlog;
    use crate::testing;

    fn frame(deck: &str, sequence: u32) -> Frame {
        Frame {
            deck: deck.to_owned(),
            sequence,
            t_ms: u64::from(sequence) * 100,
            temperature_c: None,
            tilt_deg: vec![],
            counts: vec![],
        }
    }

    #[tokio::test]
    async fn lines_of_several_decks_in_one_message_go_each_to_its_bed() {
        let ward = testing::ward(&["A1", "A2"]);
        let (out, from_broker) = heard();
        let mut beds = Vec::new();
        let mut takes = Vec::new();
        for label in ["A1", "A2"] {
            let (to, from) = heard();
            beds.push((Arc::clone(ward.bed(label).unwrap()), to));
            takes.push((format!("deck of {label}"), from));
        }
        let message = vec![
            frame("deck of A1", 1),
            frame("deck of A2", 7),
            frame("deck of nobody", 1),
            frame("deck of A1", 2),
            frame("deck of A2", 8),
        ];
        out.send(Heard::Frames { frames: message, receipt: Receipt::none() }).await.unwrap();
        drop(out);
        dispatch(Arc::clone(&ward), beds, from_broker).await;
        for ((signed, mut from), numbers) in takes.into_iter().zip([[1, 2], [7, 8]]) {
            let Some(Heard::Frames { frames, .. }) = from.recv().await else { panic!("{signed} got nothing") };
            assert!(frames.iter().all(|f| f.deck == signed));
            assert_eq!(frames.iter().map(|f| f.sequence).collect::<Vec<_>>(), numbers);
            assert!(from.recv().await.is_none());
        }
    }

    /// A broker of one session: hands out each of these lines as a message of its own, and tells the numbers of those that are acknowledged, from 1
    /// on (OASIS MQTT 5.0, 3.1 to 3.4 and 3.8 to 3.9).
    fn broker(lines: Vec<String>) -> (u16, std::sync::mpsc::Receiver<usize>) {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (tell, told) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            while let Some((kind, body)) = packet(&mut stream) {
                match kind {
                    // Asked for a session: it stands, and is new.
                    1 => stream.write_all(&[0x20, 3, 0, 0, 0]).unwrap(),
                    // Asked for topics: granted, with at least once.
                    8 => {
                        stream.write_all(&[0x90, 4, body[0], body[1], 0, 1]).unwrap();
                        for (number, line) in (1_u16..).zip(&lines) {
                            let length = u8::try_from(2 + 1 + 2 + 1 + line.len()).unwrap();
                            assert!(length < 128, "a length of one byte");
                            stream.write_all(&[0x32, length, 0, 1, b't']).unwrap();
                            stream.write_all(&[&number.to_be_bytes()[..], &[0], line.as_bytes()].concat()).unwrap();
                        }
                    }
                    4 => drop(tell.send(usize::from(u16::from_be_bytes([body[0], body[1]])))),
                    12 => stream.write_all(&[0xd0, 0]).unwrap(),
                    _ => {}
                }
            }
        });
        (port, told)
    }

    /// Kind and body of a packet whose length has one byte, or two; `None` at the end.
    fn packet(stream: &mut TcpStream) -> Option<(u8, Vec<u8>)> {
        let (mut head, mut length, mut more) = ([0; 2], 0, [0]);
        stream.read_exact(&mut head).ok()?;
        length += usize::from(head[1] & 0x7f);
        if head[1] > 0x7f {
            stream.read_exact(&mut more).ok()?;
            length += usize::from(more[0]) << 7;
        }
        let mut body = vec![0; length];
        stream.read_exact(&mut body).ok()?;
        Some((head[0] >> 4, body))
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn a_bed_that_has_stopped_leaves_the_others_room_at_the_broker() {
        let setups = [("A1", "deck-1"), ("A2", "deck-2")];
        let first = testing::setup("A1");
        let of =
            |(bed, deck): (&str, &str)| crate::bed::Setup { bed: bed.into(), signs_as: deck.into(), ..first.clone() };
        let ward = testing::ward_of(setups.map(of).to_vec());
        let beyond = 5;
        let line = |deck, n| link::line::write(&Frame { counts: vec![Some(1)], ..frame(deck, n) });
        let mut lines: Vec<String> = (0..).map(|n| line("deck-1", n)).take(OF_THE_STOPPED_MOST + beyond).collect();
        lines.push(line("deck-2", 0));
        let last = lines.len();
        let (port, told) = broker(lines);
        let source = link::transport::Source::Mqtt(link::transport::Broker {
            host: "127.0.0.1".to_owned(),
            port,
            client: "ward".to_owned(),
            topics: "t".to_owned(),
            account: None,
            authority: None,
            remember_s: 60,
        });
        let (out, from_broker) = heard();
        tokio::spawn(link::transport::run(source, 1, out));
        let ((stopped, gone), (goes_on, mut takes)) = (heard(), heard());
        drop(gone);
        let beds = [("A1", stopped), ("A2", goes_on)].map(|(label, to)| (Arc::clone(ward.bed(label).unwrap()), to));
        tokio::spawn(dispatch(Arc::clone(&ward), beds.to_vec(), from_broker));
        loop {
            if let Some(Heard::Frames { receipt, .. }) = takes.recv().await {
                receipt.kept().await;
                break;
            }
        }
        let acknowledged: Vec<usize> =
            (0..=beyond).filter_map(|_| told.recv_timeout(Duration::from_secs(60)).ok()).collect();
        assert_eq!(acknowledged, (last - beyond..=last).collect::<Vec<_>>());
    }

    #[test]
    fn that_another_service_uses_our_name_is_known_of_a_bed_until_its_link_stands() {
        let ward = testing::ward(&["A1"]);
        let bed = ward.bed("A1").unwrap();
        let down = |has_rival| Heard::Down { why: "closed".into(), again_in: Duration::ZERO, has_rival };
        for (heard, has_rival) in [(down(false), false), (down(true), true), (Heard::Up, false)] {
            hear(bed, heard, &mut Vec::new()).unwrap();
            assert_eq!(bed.trouble().has_rival, has_rival);
        }
    }

    /// The engine of a bed panics while it works.
    fn spoil(bed: &Arc<Bed>) {
        let bed = Arc::clone(bed);
        std::thread::spawn(move || bed.with(|_| panic!("on purpose"))).join().unwrap_err();
    }

    #[tokio::test]
    async fn a_bed_whose_engine_panicked_says_so_and_takes_nothing_that_is_entered() {
        let ward = testing::ward(&["A1", "A2"]);
        let bed = ward.bed("A1").unwrap();
        let ((out, from), (keep, _kept)) = (heard(), backlog::door());
        let task = tokio::spawn(watched(Arc::clone(bed), from, keep));
        out.send(Heard::Up).await.unwrap();
        while !bed.live().link.up {
            tokio::task::yield_now().await;
        }
        spoil(bed);
        out.send(Heard::Frames { frames: vec![frame("deck of A1", 1)], receipt: Receipt::none() }).await.unwrap();
        task.await.unwrap();
        assert!(bed.trouble().stopped.unwrap().contains("started anew"));
        assert!(!bed.live().link.up, "its last weight looks like one of now");
        let hold = serde_json::from_str(r#"{ "action": "hold" }"#).unwrap();
        let refused = ward.act("A1", "nurse", None, &hold).unwrap_err();
        assert!(refused.to_string().contains("stopped by a fault of the program"), "{refused}");
        assert!(ward.act("A2", "nurse", None, &hold).is_ok());
    }

    #[test]
    fn a_bed_whose_state_is_too_long_to_be_kept_says_so() {
        let ward = testing::ward_of(vec![{
            let mut setup = testing::setup("A1");
            // A record has at most 65 535 bytes beside its head.
            setup.calibration.made_at = "x".repeat(66_000);
            setup
        }]);
        let bed = ward.bed("A1").unwrap();
        let counts = vec![Some(100_000); bed.setup.deck.cells().count()];
        let sample = |n| Frame { counts: counts.clone(), ..frame("deck of A1", n) };
        let heard = Heard::Frames { frames: vec![sample(0)], receipt: Receipt::none() };
        let jobs = hear(bed, heard, &mut Vec::new()).unwrap();
        assert_eq!(
            jobs.iter().map(|job| job.readings.len()).sum::<usize>(),
            1,
            "what is weighed goes on record all the same"
        );
        let why = bed.trouble().state.expect("nobody is told");
        assert!(why.contains("A1"), "{why}");
    }

    #[tokio::test]
    async fn a_bed_whose_link_died_without_a_word_says_so() {
        let ward = testing::ward(&["A1"]);
        let bed = ward.bed("A1").unwrap();
        let ((out, from), (keep, _kept)) = (heard(), backlog::door());
        out.send(Heard::Up).await.unwrap();
        drop(out);
        watched(Arc::clone(bed), from, keep).await;
        assert!(bed.has_stopped() && !bed.live().link.up);
    }
}
