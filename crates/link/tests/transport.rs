//! Links over real sockets, a real pseudo-terminal and a real broker.

use std::time::Duration;

use bedplate_link::line::{Frame, write};
use bedplate_link::transport::{self, Heard, Source};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpListener;
use tokio::sync::mpsc::{Receiver, channel};

#[cfg(feature = "broker-tests")]
#[path = "transport/broker.rs"]
mod broker;

/// Long enough for a busy machine: no test waits for it when all is well.
const PATIENCE: Duration = Duration::from_secs(60);

fn frame(sequence: u32) -> Frame {
    Frame {
        deck: "alder-1".to_owned(),
        sequence,
        t_ms: u64::from(sequence) * 100,
        temperature_c: Some(22.0),
        tilt_deg: vec![],
        counts: vec![Some(100 + i32::try_from(sequence).unwrap()), None, Some(-3)],
    }
}

fn text(sequences: std::ops::Range<u32>) -> String {
    sequences.map(|s| write(&frame(s)) + "\r\n").collect()
}

fn start(source: Source) -> Receiver<Heard> {
    let (out, heard) = channel(64);
    tokio::spawn(transport::run(source, 1, out));
    heard
}

async fn next(heard: &mut Receiver<Heard>) -> Heard {
    tokio::time::timeout(PATIENCE, heard.recv()).await.expect("nothing was heard").expect("the link ended")
}

/// Samples as they come, until there are so many; what else is heard is counted by its first letter.
async fn samples(heard: &mut Receiver<Heard>, many: usize) -> (Vec<u32>, String) {
    let (mut found, mut other) = (Vec::new(), String::new());
    while found.len() < many {
        match next(heard).await {
            Heard::Frames { frames, receipt } => {
                found.extend(frames.iter().map(|f| f.sequence));
                receipt.kept().await;
            }
            Heard::Up => other.push('u'),
            Heard::Down { .. } => other.push('d'),
            Heard::Ended { .. } => other.push('e'),
            Heard::Rubbish(_) => other.push('r'),
        }
    }
    (found, other)
}

#[tokio::test]
async fn tcp_comes_back_after_every_loss_and_passes_over_rubbish() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let mut heard = start(Source::Tcp { address });
    let deck = tokio::spawn(async move {
        for round in 0..3 {
            let (mut stream, _) = listener.accept().await.unwrap();
            let lines = text(round * 10..round * 10 + 10);
            // Cut in the middle of a line, rubbish between lines, and a line that the loss cuts off.
            stream.write_all(&lines.as_bytes()[..33]).await.unwrap();
            stream.flush().await.unwrap();
            tokio::task::yield_now().await;
            stream.write_all(&lines.as_bytes()[33..]).await.unwrap();
            stream.write_all(b"\xff\xfe,,,\nalder-1,99,1").await.unwrap();
        }
    });
    let (found, other) = samples(&mut heard, 30).await;
    assert_eq!(found, (0..30).collect::<Vec<_>>());
    let count = |letter| other.matches(letter).count();
    // The rubbish of the last round may stand before or after the last sample that was waited for.
    assert!(count("u") == 3 && count("d") == 2 && (2..=3).contains(&count("r")), "{other}");
    deck.await.unwrap();
}

#[tokio::test]
async fn a_deck_that_is_not_there_is_tried_again_and_a_link_ends_with_its_listener() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    drop(listener);
    let (out, mut heard) = channel(4);
    let link = tokio::spawn(transport::run(Source::Tcp { address }, 1, out));
    let mut pauses = Vec::new();
    for _ in 0..3 {
        match next(&mut heard).await {
            Heard::Down { again_in, why, has_rival: false } => {
                assert!(!why.is_empty());
                pauses.push(again_in);
            }
            other => panic!("{other:?}"),
        }
    }
    assert!(pauses[2] > pauses[0], "{pauses:?}");
    drop(heard);
    tokio::time::timeout(PATIENCE, link).await.expect("the link went on with nobody listening").unwrap();
}

#[tokio::test]
async fn a_serial_line_gives_its_samples() {
    let (mut deck, port) = tokio_serial::SerialStream::pair().unwrap();
    // The second end stays open, so that its name goes on to exist; the link opens it anew by that name.
    let path = tokio_serial::SerialPort::name(&port).unwrap();
    let mut heard = start(Source::Serial { path, baud: 115_200 });
    assert!(matches!(next(&mut heard).await, Heard::Up));
    let writer = tokio::spawn(async move {
        for start in (0..200).step_by(20) {
            deck.write_all(text(start..start + 20).as_bytes()).await.unwrap();
        }
        deck
    });
    let (found, other) = samples(&mut heard, 200).await;
    assert_eq!(found, (0..200).collect::<Vec<_>>());
    assert_eq!(other, "");
    drop(writer.await.unwrap());
    drop(port);
}

/// A broker that grants no subscription.
///
/// Source: OASIS, MQTT Version 5.0 (2019): 3.2 CONNACK, 3.9 SUBACK, 3.9.3 reason code 0x87 "Not authorized".
async fn refusing_broker(listener: TcpListener) {
    loop {
        let (mut stream, _) = listener.accept().await.unwrap();
        let mut piece = [0; 4096];
        assert!(stream.read(&mut piece).await.unwrap() > 0, "no CONNECT");
        stream.write_all(&[0x20, 3, 0, 0, 0]).await.unwrap();
        let many = stream.read(&mut piece).await.unwrap();
        assert!(many > 4 && piece[0] == 0x82, "no SUBSCRIBE: {:?}", &piece[..many]);
        stream.write_all(&[0x90, 4, piece[2], piece[3], 0, 0x87]).await.unwrap();
        // Until the other end goes.
        while stream.read(&mut piece).await.is_ok_and(|many| many > 0) {}
    }
}

#[tokio::test]
async fn a_broker_that_refuses_the_topics_is_no_link_that_stands() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(refusing_broker(listener));
    let mut heard = start(Source::Mqtt(transport::Broker {
        host: "127.0.0.1".to_owned(),
        port,
        client: "ward-test".to_owned(),
        topics: "ward/+/samples".to_owned(),
        account: None,
        authority: None,
        remember_s: 60,
    }));
    let mut pauses = Vec::new();
    while pauses.len() < 3 {
        match next(&mut heard).await {
            Heard::Up => {}
            Heard::Down { why, again_in, .. } => {
                assert!(why.contains("refuses the topics \"ward/+/samples\": NotAuthorized"), "{why}");
                pauses.push(again_in);
            }
            other => panic!("{other:?}"),
        }
    }
    assert!(pauses[2] > pauses[0], "tried again without pause: {pauses:?}");
}

#[tokio::test]
async fn a_device_that_is_not_there_is_said_so() {
    let mut heard = start(Source::Serial { path: "/nonexistent/tty".to_owned(), baud: 9600 });
    assert!(matches!(next(&mut heard).await, Heard::Down { .. }));
}

#[tokio::test]
async fn a_slow_listener_stops_the_reading_and_nothing_grows() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let mut heard = start(Source::Tcp { address });
    let (mut stream, _) = listener.accept().await.unwrap();
    // More than the channel and the sockets between hold: the writer must come to a stop.
    let lines = text(0..1000);
    let mut written = 0_usize;
    let stopped = loop {
        match tokio::time::timeout(Duration::from_millis(500), stream.write_all(lines.as_bytes())).await {
            Ok(done) => done.unwrap(),
            Err(_) => break true,
        }
        written += lines.len();
        if written > 256 << 20 {
            break false;
        }
    };
    assert!(stopped, "{written} bytes were swallowed while nobody took them");
    let (found, _) = samples(&mut heard, 1000).await;
    assert_eq!(found[..1000], (0..1000).collect::<Vec<_>>());
}
