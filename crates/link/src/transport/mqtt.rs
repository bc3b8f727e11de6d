//! A standard broker, MQTT 5.
//!
//! Messages are acknowledged by hand, once their samples are kept, in a session that the broker remembers while we are
//! away: what it took from a deck with quality of service 1 comes at least once, however long we were gone.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use rumqttc::Transport;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{ConnectProperties, DisconnectReasonCode, Packet, Publish, SubscribeReasonCode};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use tokio::sync::mpsc::Sender;

use super::owed::{Owed, Ticket};
use super::{Heard, Receipt, Sorted, wait};
use crate::line::LINE_BYTES_MOST;
use crate::pause::Pauses;

/// Messages that the broker may send before the first is acknowledged (MQTT 5.0, 3.1.2.11.3, Receive Maximum).
const UNACKNOWLEDGED_MOST: u16 = 20_000;
/// Requests to the broker that may wait, acknowledgements among them.
const REQUESTS_MOST: usize = 1024;
/// A connection that brought samples for so long is a good one: two services with one name throw each other out sooner, and must not
/// try without pause.
const STANDS: Duration = Duration::from_secs(10);
/// A connection that the broker closes within this time is closed soon: longer than any pause of another that would connect again.
const SOON: Duration = Duration::from_secs(60);
/// So many of them in a row are no restart of the broker.
const IN_A_ROW: u32 = 2;
/// Lines of full length that one message may carry.
const LINES_MOST: usize = 64;

/// A broker, and what to listen to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// Its host.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Our name there; the broker keeps for this name what came while we were away.
    pub client: String,
    /// Which topics, such as `ward/+/samples`.
    pub topics: String,
    /// Name and password, where the broker asks for them.
    pub account: Option<(String, Secret)>,
    /// Certificate of the authority that vouches for the broker, PEM: with it the connection is encrypted.
    pub authority: Option<Vec<u8>>,
    /// How long the broker keeps messages for us, s.
    pub remember_s: u32,
}

/// A password, which never shows in a log.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(pub String);

impl std::fmt::Debug for Secret {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("…")
    }
}

/// The acknowledgements that a link owes, and the way to the broker. Nobody waits here: what the way does not take just now
/// goes once it has room.
struct Acks {
    client: AsyncClient,
    owed: Mutex<Owed<Publish>>,
}

impl Acks {
    fn owed(&self) -> MutexGuard<'_, Owed<Publish>> {
        self.owed.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The broker's copy of a message; `None` for one of which it keeps none.
    fn expect(self: &Arc<Self>, publish: &Publish) -> Option<Copy> {
        let head = Publish { pkid: publish.pkid, qos: publish.qos, ..Publish::default() };
        let ticket = (head.pkid != 0).then(|| self.owed().expect(head, Instant::now()))?;
        Some(Copy { acks: Arc::clone(self), ticket })
    }

    fn send(&self, owed: &mut Owed<Publish>) {
        owed.send(Instant::now(), |publish| self.client.try_ack(publish).is_ok());
    }
}

/// The broker's copy of a message. Dropped, it stays with the broker, which brings it again on the next connection.
pub(super) struct Copy {
    acks: Arc<Acks>,
    ticket: Ticket,
}

impl std::fmt::Debug for Copy {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "message {:?}", self.ticket)
    }
}

impl Copy {
    pub(super) fn forget(&self) {
        self.settle(true);
    }

    fn settle(&self, is_kept: bool) {
        let mut owed = self.acks.owed();
        owed.settle(self.ticket, is_kept);
        self.acks.send(&mut owed);
    }
}

impl Drop for Copy {
    fn drop(&mut self) {
        // After `forget` it is settled, and this changes nothing.
        self.settle(false);
    }
}

pub(super) async fn run(broker: &Broker, seed: u64, out: &Sender<Heard>) {
    let mut pauses = Pauses::new(seed);
    let (client, mut events) = AsyncClient::new(options(broker), REQUESTS_MOST);
    let acks = Arc::new(Acks { client, owed: Mutex::new(Owed::new()) });
    let mut in_a_row = 0;
    loop {
        let Some(Lost { why, soon }) = listen(broker, &acks, &mut events, &mut pauses, out).await else { return };
        in_a_row = if soon { in_a_row + 1 } else { 0 };
        // First nothing more is owed, then what is on its way is taken back: no acknowledgement reaches the next connection.
        acks.owed().begin_anew();
        events.clean();
        let has_rival = in_a_row >= IN_A_ROW;
        let why = if has_rival { of_rival(&why, &broker.client) } else { why };
        if !wait(out, why, pauses.next_pause(), has_rival).await {
            return;
        }
    }
}

fn options(broker: &Broker) -> MqttOptions {
    let mut options = MqttOptions::new(&broker.client, &broker.host, broker.port);
    options.set_keep_alive(Duration::from_secs(10));
    options.set_clean_start(false);
    options.set_manual_acks(true);
    options.set_connection_timeout(10);
    if let Some((name, Secret(password))) = &broker.account {
        options.set_credentials(name, password);
    }
    if let Some(authority) = &broker.authority {
        // Set once for the process; a second link finds it set.
        drop(rustls::crypto::ring::default_provider().install_default());
        options.set_transport(Transport::tls(authority.clone(), None, None));
    }
    let mut properties = ConnectProperties::new();
    properties.session_expiry_interval = Some(broker.remember_s);
    properties.receive_maximum = Some(UNACKNOWLEDGED_MOST);
    properties.max_packet_size = u32::try_from(LINES_MOST * (LINE_BYTES_MOST + 2) + 1024).ok();
    options.set_connect_properties(properties);
    options
}

/// How a connection ended.
struct Lost {
    why: String,
    /// The broker closed it soon after it stood.
    soon: bool,
}

/// Whether the broker closed a connection, as it does to a client whose name another uses: some say so (MQTT 5.0, 3.1.4, "Session taken over"),
/// some only close it.
fn is_closed_there(error: &ConnectionError) -> bool {
    use std::io::ErrorKind::{BrokenPipe, ConnectionAborted, ConnectionReset};
    match error {
        ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, .. }) => {
            *reason_code == DisconnectReasonCode::SessionTakenOver
        }
        ConnectionError::MqttState(StateError::ConnectionAborted) => true,
        ConnectionError::MqttState(StateError::Io(error)) | ConnectionError::Io(error) => {
            matches!(error.kind(), BrokenPipe | ConnectionAborted | ConnectionReset)
        }
        _ => false,
    }
}

/// Why a link is down, where the broker has closed so many connections in a row soon after they stood. Two services of one name connect again and
/// again, each throwing the other out, and nothing else that is to be read leads there.
fn of_rival(why: &str, client: &str) -> String {
    format!(
        "{why}; the broker closes one connection after another soon after it stands: most likely a second service uses the client id \
         {client:?}, and the two throw each other out; each service needs its own"
    )
}

/// Listens until the connection ends, and says why it did; `None` when nobody listens any more.
async fn listen(
    broker: &Broker,
    acks: &Arc<Acks>,
    events: &mut EventLoop,
    pauses: &mut Pauses,
    out: &Sender<Heard>,
) -> Option<Lost> {
    let begun = Instant::now();
    let mut stands = false;
    let lost = |why: String| Some(Lost { why, soon: false });
    loop {
        let event = tokio::select! {
            () = out.closed() => return None,
            event = events.poll() => event,
        };
        match event {
            Err(error) => {
                let soon = stands && begun.elapsed() < SOON && is_closed_there(&error);
                return Some(Lost { why: error.to_string(), soon });
            }
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                // Asked for at every connection: a broker that lost our session would send nothing. Nothing is on its way on a
                // connection that is new, so there is room; to wait for some would be to wait for ourselves.
                if let Err(error) = acks.client.try_subscribe(&broker.topics, QoS::AtLeastOnce) {
                    return lost(error.to_string());
                }
                stands = true;
                out.send(Heard::Up).await.ok()?;
            }
            Ok(Event::Incoming(Packet::Publish(publish))) => {
                let mut sorted = Sorted::new();
                publish.payload.split(|byte| *byte == b'\n').for_each(|line| sorted.line(line));
                if !sorted.frames.is_empty() && begun.elapsed() >= STANDS {
                    pauses.worked();
                }
                let receipt = Receipt::of(acks.expect(&publish));
                if !sorted.send(out, receipt).await {
                    return None;
                }
            }
            Ok(Event::Incoming(Packet::SubAck(answer))) => {
                let granted = |code: &SubscribeReasonCode| matches!(code, SubscribeReasonCode::Success(_));
                if let Some(refused) = answer.return_codes.iter().find(|code| !granted(code)) {
                    return lost(format!("the broker refuses the topics {:?}: {refused:?}", broker.topics));
                }
            }
            Ok(_) => {}
        }
        acks.send(&mut acks.owed());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_that_was_taken_over_is_told_from_a_broker_that_was_stopped() {
        let by = |reason_code| StateError::ServerDisconnect { reason_code, reason_string: None };
        let is_closed = |error| is_closed_there(&ConnectionError::MqttState(error));
        assert!(is_closed(by(DisconnectReasonCode::SessionTakenOver)) && is_closed(StateError::ConnectionAborted));
        assert!(!is_closed(by(DisconnectReasonCode::ServerShuttingDown)) && !is_closed(StateError::AwaitPingResp));
        assert!(of_rival("closed", "ward").contains("the client id \"ward\""));
    }
}
