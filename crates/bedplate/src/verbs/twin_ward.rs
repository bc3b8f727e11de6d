//! `twin ward`: many invented beds in real time, over the links that real decks use.

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::Duration;

use calibrate::Options;
use formats::recording::Sample;
use link::controller::{Listening, Publishing};
use tokio::net::TcpListener;
use tokio::time::{Instant, sleep_until};
use twin::{BenchOptions, BuiltDeck, Night, TwinError};
use ward::service::source::frame;

use crate::cli::TwinWardArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

/// How often standard error hears of it.
const TOLD_EVERY: Duration = Duration::from_secs(10);
/// First part of the topics on a broker.
const TOPIC: &str = "bedplate-twin";

/// Where one bed's samples go.
enum Way {
    Tcp(Listening),
    Broker { publishing: Publishing, topic: String },
}

struct Bed<'a> {
    night: Night<'a>,
    signs_as: String,
    sequence: u32,
    way: Way,
    /// Its night is over.
    is_over: bool,
}

pub(crate) fn run(args: &TwinWardArgs) -> Result<Outcome, Failure> {
    let broker = args.broker.as_deref().map(host_and_port).transpose()?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
        .map_err(|e| Failure::Stage(format!("could not start: {e}")))?;
    runtime.block_on(live(args, broker))?;
    Ok(Outcome::Met)
}

fn host_and_port(text: &str) -> Result<(String, u16), Failure> {
    let parts = text.rsplit_once(':').and_then(|(host, port)| Some((host.to_owned(), port.parse().ok()?)));
    parts.ok_or_else(|| Failure::Stage(format!("--broker {text}: expected HOST:PORT, such as 127.0.0.1:1883")))
}

async fn live(args: &TwinWardArgs, broker: Option<(String, u16)>) -> Result<(), Failure> {
    let of_deck = |e: TwinError| Failure::stage(&args.deck, &e);
    let text = files::read_text(&args.deck)?;
    let deck = files::read_deck(&args.deck)?;
    let scenario = super::twin::scenario(args.scenario.as_deref())?;
    let spread = scenario.cell_spread();
    let built = BuiltDeck::build(&deck, &spread, args.seed).map_err(of_deck)?;
    let bench =
        twin::bench_run(&deck, args.seed, &BenchOptions { spread, ..BenchOptions::default() }).map_err(of_deck)?;
    let calibration = calibrate::calibrate(&deck, &bench.run, &Options::new(files::now()))
        .map_err(|e| Failure::stage(&args.deck, &e))?;
    let publishing = broker.as_ref().map(|(host, port)| Publishing::to(host, *port, &format!("{TOPIC}-decks")));
    let mut beds = Vec::new();
    let mut ward = head(args.beds, broker.as_ref());
    for number in 1..=args.beds {
        let signs_as = format!("deck-{number}");
        let way = match &publishing {
            Some(publishing) => {
                ward += &bed(number, &signs_as, "link = \"mqtt\"");
                Way::Broker { publishing: publishing.clone(), topic: format!("{TOPIC}/{signs_as}/samples") }
            }
            None => {
                let (listening, port) = listen(args.port, number).await?;
                ward += &bed(number, &signs_as, &format!("link = \"tcp\"\naddress = \"127.0.0.1:{port}\""));
                Way::Tcp(listening)
            }
        };
        let night = Night::new(&deck, &built, &scenario, args.seed.wrapping_add(u64::from(number))).map_err(of_deck)?;
        beds.push(Bed { night, signs_as, sequence: 0, way, is_over: false });
    }
    files::make_folder(&args.output)?;
    files::write_text(&args.output.join("deck.toml"), &text)?;
    files::write_text(&args.output.join("calibration.json"), &formats::calibration::write(&calibration))?;
    let path = args.output.join("ward.toml");
    files::write_text(&path, &ward)?;
    output::text(&format!(
        "{} invented beds give {} samples a second each; `bedplate serve {}` serves them (Ctrl-C ends)\n",
        args.beds,
        scenario.rate_hz,
        path.display()
    ))?;
    tokio::select! {
        done = give(&mut beds, scenario.rate_hz) => done.map_err(of_deck),
        _ = tokio::signal::ctrl_c() => Ok(()),
    }
}

/// The first part of ward.toml.
fn head(beds: u16, broker: Option<&(String, u16)>) -> String {
    let mut text = format!(
        "# Invented beds that `bedplate twin ward` gives samples for.\n[ward]\nname = \"Ward of {beds} invented beds\"\n\
         memory = \"ward.db\"\nlisten = \"127.0.0.1:8080\"\n"
    );
    if let Some((host, port)) = broker {
        // Writing to a String cannot fail.
        let _ = write!(
            text,
            "\n[broker]\nhost = \"{host}\"\nport = {port}\nclient = \"{TOPIC}-ward\"\ntopics = \"{TOPIC}/+/samples\"\n"
        );
    }
    text
}

fn bed(number: u16, signs_as: &str, link: &str) -> String {
    format!(
        "\n[[bed]]\nlabel = \"L{number}\"\ndeck = \"deck.toml\"\ncalibration = \"calibration.json\"\nsigns_as = \"{signs_as}\"\n{link}\n"
    )
}

async fn listen(first: u16, number: u16) -> Result<(Listening, u16), Failure> {
    let port = if first == 0 {
        0
    } else {
        first.checked_add(number - 1).ok_or_else(|| {
            Failure::Stage(format!("--port {first}: ports end at 65535, and bed {number} would need a later one"))
        })?
    };
    let cannot = |e: std::io::Error| {
        Failure::Stage(format!("could not listen on 127.0.0.1:{port} for bed {number}: {e}; --port 0 takes free ports"))
    };
    let listener = TcpListener::bind(("127.0.0.1", port)).await.map_err(cannot)?;
    let port = listener.local_addr().map_err(cannot)?.port();
    Ok((Listening::on(listener), port))
}

/// Lives in all beds, one after the other within each interval, until every night is over.
async fn give(beds: &mut [Bed<'_>], rate_hz: f64) -> Result<(), TwinError> {
    let begin = Instant::now();
    let mut told = begin;
    let (mut samples, mut lost) = (0_u64, 0_u64);
    let mut latest = Duration::ZERO;
    let mut sample = Sample::default();
    let apart_s = 1.0 / (rate_hz * beds.len().max(1) as f64);
    while beds.iter().any(|bed| !bed.is_over) {
        for (place, bed) in beds.iter_mut().enumerate().filter(|(_, bed)| !bed.is_over) {
            if !bed.night.next_sample(&mut sample)? {
                bed.is_over = true;
                continue;
            }
            let due = begin + Duration::from_secs_f64(sample.t_s + place as f64 * apart_s);
            sleep_until(due).await;
            latest = latest.max(Instant::now() - due);
            let frame = frame(&bed.signs_as, bed.sequence, &sample);
            bed.sequence = bed.sequence.wrapping_add(1);
            samples += 1;
            match &bed.way {
                Way::Tcp(listening) => listening.give(&frame),
                Way::Broker { publishing, topic } => lost += u64::from(!publishing.give(topic, &frame)),
            }
        }
        if told.elapsed() >= TOLD_EVERY {
            told = Instant::now();
            tell(beds, samples, lost, latest);
            latest = Duration::ZERO;
        }
    }
    Ok(())
}

fn tell(beds: &[Bed<'_>], samples: u64, lost: u64, latest: Duration) {
    let heard = beds.iter().filter(|bed| match &bed.way {
        Way::Tcp(listening) => listening.connections() > 0,
        Way::Broker { publishing, .. } => publishing.stands(),
    });
    // Standard error may be closed; the beds go on.
    let _ = writeln!(
        std::io::stderr(),
        "{samples} samples given, {lost} lost before the broker; {} of {} beds are listened to; the latest sample was {:.0} ms late",
        heard.count(),
        beds.len(),
        latest.as_secs_f64() * 1e3
    );
}
