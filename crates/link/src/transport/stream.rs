//! Links that bring bytes in order: a serial line, a TCP connection.

use std::io;

use tokio::io::{AsyncRead, AsyncReadExt as _};
use tokio::net::TcpStream;
use tokio::sync::mpsc::Sender;
use tokio::time::timeout;
use tokio_serial::SerialPortBuilderExt as _;

use super::{CONNECT_MOST, Heard, Receipt, SILENCE_MOST, Sorted, wait};
use crate::pause::Pauses;
use crate::splitter::Splitter;

/// Bytes read at once.
const PIECE: usize = 4096;

pub(super) enum Way {
    Serial { path: String, baud: u32 },
    Tcp { address: String },
}

type Stream = Box<dyn AsyncRead + Send + Unpin>;

pub(super) async fn run(way: &Way, seed: u64, out: &Sender<Heard>) {
    let mut pauses = Pauses::new(seed);
    loop {
        let why = match open(way).await {
            Err(error) => error.to_string(),
            Ok(stream) => {
                if out.send(Heard::Up).await.is_err() {
                    return;
                }
                match listen(stream, &mut pauses, out).await {
                    Some(why) => why,
                    None => return,
                }
            }
        };
        if !wait(out, why, pauses.next_pause(), false).await {
            return;
        }
    }
}

async fn open(way: &Way) -> io::Result<Stream> {
    match way {
        Way::Serial { path, baud } => Ok(Box::new(tokio_serial::new(path, *baud).open_native_async()?)),
        Way::Tcp { address } => {
            let connection = timeout(CONNECT_MOST, TcpStream::connect(address)).await;
            Ok(Box::new(connection.map_err(|_| io::Error::from(io::ErrorKind::TimedOut))??))
        }
    }
}

/// Listens until the connection ends, and says why it did; `None` when nobody listens any more.
async fn listen(mut stream: Stream, pauses: &mut Pauses, out: &Sender<Heard>) -> Option<String> {
    let mut splitter = Splitter::default();
    let mut piece = vec![0; PIECE];
    loop {
        let read = tokio::select! {
            () = out.closed() => return None,
            read = timeout(SILENCE_MOST, stream.read(&mut piece)) => read,
        };
        let bytes = match read {
            Err(_) => return Some(format!("no word for {} s", SILENCE_MOST.as_secs())),
            Ok(Err(error)) => return Some(error.to_string()),
            Ok(Ok(0)) => return Some("the other end closed the connection".to_owned()),
            Ok(Ok(bytes)) => &piece[..bytes],
        };
        let mut sorted = Sorted::new();
        splitter.push(bytes, |line| sorted.line(line));
        if !sorted.frames.is_empty() {
            // Only a sample proves the connection: a port that opens and closes at once must not be tried without pause.
            pauses.worked();
        }
        if !sorted.send(out, Receipt::none()).await {
            return None;
        }
    }
}
