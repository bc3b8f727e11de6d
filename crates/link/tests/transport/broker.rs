//! A real broker, mosquitto, that each test starts for itself.

use std::process::{Child, Command, Stdio};

use bedplate_link::transport::{Broker, Heard, Receipt, Source};
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::Packet;
use rumqttc::v5::{AsyncClient, Event, MqttOptions};

use super::{frame, next, samples, start, text};

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// A broker on a port of its own, which keeps sessions in a folder of its own.
struct Mosquitto {
    child: Child,
    folder: tempfile::TempDir,
    port: u16,
}

impl Mosquitto {
    fn start() -> Self {
        Self::start_in(tempfile::tempdir().unwrap(), "")
    }

    /// With further lines of its configuration, in a folder that may hold what they name.
    fn start_in(folder: tempfile::TempDir, further: &str) -> Self {
        let port = free_port();
        // As the account that runs the test: a broker started by root would turn to another, which may not enter here.
        let account = std::env::var("USER").unwrap_or_else(|_| "root".to_owned());
        let text = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {}/\n\
             autosave_interval 1\nautosave_on_changes true\nuser {account}\nmax_queued_messages 100000\n{further}",
            folder.path().display()
        );
        std::fs::write(folder.path().join("broker.conf"), text).unwrap();
        let child = Self::run(&folder);
        Self { child, folder, port }
    }

    fn run(folder: &tempfile::TempDir) -> Child {
        let program =
            if std::path::Path::new("/usr/sbin/mosquitto").exists() { "/usr/sbin/mosquitto" } else { "mosquitto" };
        let conf = folder.path().join("broker.conf");
        Command::new(program).arg("-c").arg(conf).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
    }

    fn stop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Ends as a broker does that is told to: its sessions are written down.
    fn end(&mut self) {
        assert!(Command::new("kill").arg(self.child.id().to_string()).status().unwrap().success());
        self.child.wait().unwrap();
    }

    fn source(&self) -> Source {
        Source::Mqtt(Broker {
            host: "127.0.0.1".to_owned(),
            port: self.port,
            client: "ward-test".to_owned(),
            topics: "ward/+/samples".to_owned(),
            account: None,
            authority: None,
            remember_s: 86_400,
        })
    }

    /// Publishes samples as a deck would, and returns once the broker has them all.
    async fn publish(&self, sequences: std::ops::Range<u32>) {
        let options = MqttOptions::new("deck", "127.0.0.1", self.port);
        let (client, mut events) = AsyncClient::new(options, 1024);
        let many = sequences.len();
        for sequence in sequences {
            let line = text(sequence..sequence + 1);
            client.publish("ward/alder-1/samples", QoS::AtLeastOnce, false, line).await.unwrap();
        }
        let mut taken = 0;
        while taken < many {
            match events.poll().await {
                Ok(Event::Incoming(Packet::PubAck(_))) => taken += 1,
                Ok(_) => {}
                // The broker is still starting.
                Err(_) => tokio::time::sleep(std::time::Duration::from_millis(50)).await,
            }
        }
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.stop();
    }
}

async fn up(heard: &mut tokio::sync::mpsc::Receiver<Heard>) {
    while !matches!(next(heard).await, Heard::Up) {}
}

#[tokio::test]
async fn what_the_broker_took_while_we_were_away_comes_after() {
    let broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..20).await;
    assert_eq!(samples(&mut heard, 20).await.0, (0..20).collect::<Vec<_>>());
    drop(heard);
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    broker.publish(20..200).await;
    let mut heard = start(broker.source());
    let found = samples(&mut heard, 180).await.0;
    // At least once: what was acknowledged in the last instant may come again, before the rest.
    let new: Vec<u32> = found.iter().copied().filter(|s| *s >= 20).collect();
    assert!(new.starts_with(&(20..20 + u32::try_from(new.len()).unwrap()).collect::<Vec<_>>()), "{found:?}");
}

#[tokio::test]
async fn two_services_of_one_name_are_told_what_they_do_to_each_other() {
    let broker = Mosquitto::start();
    let mut first = start(broker.source());
    up(&mut first).await;
    let mut second = start(broker.source());
    up(&mut second).await;
    let mut whys = Vec::new();
    while !whys.iter().any(|why: &String| why.contains("a second service uses the client id \"ward-test\"")) {
        assert!(whys.len() < 6, "told nowhere: {whys:?}");
        if let Heard::Down { why, .. } = next(&mut first).await {
            whys.push(why);
        }
    }
}

#[tokio::test]
async fn a_broker_that_is_started_again_is_not_taken_for_a_second_service() {
    let mut broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.stop();
    for _ in 0..3 {
        loop {
            if let Heard::Down { why, .. } = next(&mut heard).await {
                assert!(!why.contains("client id"), "{why}");
                break;
            }
        }
    }
}

#[tokio::test]
async fn what_was_not_kept_comes_again() {
    let broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..3).await;
    for sequence in 0..3 {
        let Heard::Frames { frames, receipt } = next(&mut heard).await else { panic!("no sample") };
        assert_eq!(frames, [frame(sequence)]);
        // The second is lost on our side before it is kept.
        if sequence == 1 { drop(receipt) } else { receipt.kept().await }
    }
    // What is handed in is on its way to the broker; give it the time to get there.
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    drop(heard);
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    let mut heard = start(broker.source());
    assert_eq!(samples(&mut heard, 1).await.0, [1]);
}

#[tokio::test]
async fn a_broker_that_is_gone_is_found_again() {
    let mut broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..5).await;
    assert_eq!(samples(&mut heard, 5).await.0, [0, 1, 2, 3, 4]);
    broker.stop();
    while !matches!(next(&mut heard).await, Heard::Down { .. }) {}
    broker.child = Mosquitto::run(&broker.folder);
    up(&mut heard).await;
    broker.publish(5..10).await;
    let found = samples(&mut heard, 5).await.0;
    assert!(found.contains(&9) || found.len() == 5, "{found:?}");
}

/// Messages that are heard and not yet kept.
async fn receipts(heard: &mut tokio::sync::mpsc::Receiver<Heard>, many: usize) -> Vec<Receipt> {
    let mut receipts = Vec::new();
    while receipts.len() < many {
        if let Heard::Frames { receipt, .. } = next(heard).await {
            receipts.push(receipt);
        }
    }
    receipts
}

#[tokio::test]
async fn what_is_kept_after_the_connection_was_lost_is_not_acknowledged_on_the_next() {
    let mut broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..3).await;
    let before = receipts(&mut heard, 3).await;
    broker.end();
    while !matches!(next(&mut heard).await, Heard::Down { .. }) {}
    broker.child = Mosquitto::run(&broker.folder);
    up(&mut heard).await;
    let again = receipts(&mut heard, 3).await;
    for receipt in before {
        receipt.kept().await;
    }
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    drop((again, heard));
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    let mut heard = start(broker.source());
    assert_eq!(samples(&mut heard, 3).await.0, [0, 1, 2], "acknowledged by receipts of an earlier connection");
}

#[tokio::test]
async fn more_acknowledgements_than_may_wait_do_not_keep_the_link_from_coming_up_again() {
    let mut broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..750).await;
    broker.publish(750..1_500).await;
    let held = receipts(&mut heard, 1_500).await;
    broker.stop();
    while !matches!(next(&mut heard).await, Heard::Down { .. }) {}
    for receipt in held {
        tokio::spawn(receipt.kept());
    }
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    broker.child = Mosquitto::run(&broker.folder);
    up(&mut heard).await;
    broker.publish(1_500..1_501).await;
    while !samples(&mut heard, 1).await.0.contains(&1_500) {}
}

/// Two invented authorities, the first of which signs the broker's certificate.
fn make_certificates(folder: &std::path::Path) {
    let openssl = |arguments: &[&str]| {
        let begin = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"];
        let done = Command::new("openssl").args(begin).args(arguments).current_dir(folder).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    };
    for name in ["authority", "stranger"] {
        let (subject, key, out) = (format!("/CN={name}"), format!("{name}.key"), format!("{name}.pem"));
        openssl(&["-subj", &subject, "-keyout", &key, "-out", &out]);
    }
    let signed = ["-CA", "authority.pem", "-CAkey", "authority.key", "-subj", "/CN=localhost"];
    let server = ["-addext", "subjectAltName=DNS:localhost", "-addext", "basicConstraints=critical,CA:FALSE"];
    openssl(&[&signed[..], &server, &["-keyout", "broker.key", "-out", "broker.pem"]].concat());
}

#[tokio::test]
async fn a_broker_is_heard_over_tls_only_by_the_authority_that_signed_it() {
    let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
    make_certificates(folder.path());
    let place = folder.path().display();
    let secured = format!(
        "listener {port} 127.0.0.1\nallow_anonymous true\ncafile {place}/authority.pem\ncertfile {place}/broker.pem\nkeyfile {place}/broker.key\n"
    );
    // The deck of this test publishes on the open port; the ward listens on the secured one.
    let broker = Mosquitto::start_in(folder, &secured);
    let source = |authority: &str| {
        let Source::Mqtt(plain) = broker.source() else { unreachable!("a broker is told of") };
        let authority = std::fs::read(broker.folder.path().join(authority)).unwrap();
        let host = "localhost".to_owned();
        Source::Mqtt(Broker { host, port, client: "ward-tls".to_owned(), authority: Some(authority), ..plain })
    };
    let mut heard = start(source("authority.pem"));
    up(&mut heard).await;
    broker.publish(0..20).await;
    assert_eq!(samples(&mut heard, 20).await.0, (0..20).collect::<Vec<_>>());
    let mut heard = start(source("stranger.pem"));
    for _ in 0..2 {
        match next(&mut heard).await {
            Heard::Down { why, .. } => assert!(why.contains("UnknownIssuer"), "{why}"),
            other => panic!("heard {other:?} over a connection that nobody vouched for"),
        }
    }
}

#[tokio::test]
async fn a_message_is_acknowledged_once_each_part_of_it_is_kept() {
    let broker = Mosquitto::start();
    let mut heard = start(broker.source());
    up(&mut heard).await;
    broker.publish(0..3).await;
    let receipts = receipts(&mut heard, 3).await;
    for (number, receipt) in receipts.into_iter().enumerate() {
        let mut parts = receipt.parts(3);
        // Of the second, one part is lost before it is kept.
        let lost = (number == 1).then(|| parts.pop());
        for part in parts {
            part.kept().await;
        }
        drop(lost);
    }
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    drop(heard);
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    let mut heard = start(broker.source());
    assert_eq!(samples(&mut heard, 1).await.0, [1]);
}
