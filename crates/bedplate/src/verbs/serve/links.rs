//! The beds of a ward file, and their links.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use formats::ward::{Link, WardFile};
use link::transport::{Broker, Heard, Secret, Source};
use store::aside::Aside;
use tokio::sync::mpsc::Sender;
use tokio::task::JoinHandle;
use ward::bed::Setup;
use ward::clock::now_us;
use ward::service::{Bed, Ward, backlog, run, source};

use super::{beside, invented};
use crate::failure::Failure;
use crate::files;

/// Samples of a recording that are read ahead.
const AHEAD: usize = 16;

/// A bed's link, ready to run.
enum Ready {
    Wire(Source),
    Broker,
    Replay(PathBuf),
    Twin(Box<twin::Scenario>, u64),
}

/// The links of all beds.
pub(crate) struct Links {
    of_bed: Vec<(String, Ready)>,
    broker: Option<Broker>,
}

/// Reads what the beds of a ward file name.
pub(crate) fn beds(ward: &Path, file: &WardFile) -> Result<(Vec<Setup>, Links), Failure> {
    let (mut setups, mut of_bed) = (Vec::new(), Vec::new());
    for bed in &file.beds {
        let deck = files::read_deck(&beside(ward, &bed.deck))?;
        let calibration = files::read_calibration(&beside(ward, &bed.calibration), &deck)?;
        let ready = match &bed.link {
            Link::Serial { path, baud } => Ready::Wire(Source::Serial { path: path.clone(), baud: *baud }),
            Link::Tcp { address } => Ready::Wire(Source::Tcp { address: address.clone() }),
            Link::Mqtt => Ready::Broker,
            Link::Replay { recording } => Ready::Replay(beside(ward, recording)),
            Link::Twin { scenario, seed } => {
                let path = beside(ward, scenario);
                let scenario = twin::Scenario::read(&files::name(&path), &files::read_text(&path)?)
                    .map_err(|e| Failure::Stage(e.to_string()))?;
                Ready::Twin(Box::new(scenario), u64::from(*seed))
            }
        };
        of_bed.push((bed.label.clone(), ready));
        setups.push(Setup { bed: bed.label.clone(), signs_as: bed.signs_as.clone(), deck, calibration });
    }
    let broker = file.broker.as_ref().map(|b| broker_of(ward, b)).transpose()?;
    Ok((setups, Links { of_bed, broker }))
}

fn broker_of(ward: &Path, broker: &formats::ward::Broker) -> Result<Broker, Failure> {
    let account = match (&broker.account, &broker.password_file) {
        (Some(name), Some(path)) => {
            let password = files::read_text(&beside(ward, path))?;
            Some((name.clone(), Secret(password.trim_end().to_owned())))
        }
        _ => None,
    };
    let authority = match &broker.authority {
        Some(path) => Some(files::read_text(&beside(ward, path))?.into_bytes()),
        None => None,
    };
    Ok(Broker {
        host: broker.host.clone(),
        port: broker.port,
        client: broker.client.clone(),
        topics: broker.topics.clone(),
        account,
        remember_s: broker.remember_h * 3600,
        authority,
    })
}

impl Links {
    /// Starts every bed and its link; gives the task that keeps what all of them bring.
    pub(crate) fn start(self, ward: &Arc<Ward>, aside: Aside, begin_us: i64) -> Result<JoinHandle<()>, Failure> {
        let (keep, brought) = backlog::door();
        let keeping = tokio::spawn(backlog::run(Arc::clone(ward), aside, brought));
        let mut on_broker = Vec::new();
        for (seed, (label, ready)) in (1_u64..).zip(self.of_bed) {
            let Some(bed) = ward.bed(&label).cloned() else { continue };
            let (out, heard) = run::heard();
            tokio::spawn(run::watched(Arc::clone(&bed), heard, keep.clone()));
            match ready {
                Ready::Wire(source) => drop(tokio::spawn(link::transport::run(source, seed, out))),
                Ready::Broker => on_broker.push((bed, out)),
                Ready::Replay(path) => replay(&path, &bed, out)?,
                Ready::Twin(scenario, seed) => invented::live(Arc::clone(ward), bed, *scenario, seed, begin_us, out),
            }
        }
        if let Some(broker) = self.broker.filter(|_| !on_broker.is_empty()) {
            let (out, heard) = run::heard();
            tokio::spawn(link::transport::run(Source::Mqtt(broker), 0, out));
            tokio::spawn(run::dispatch(Arc::clone(ward), on_broker, heard));
        }
        Ok(keeping)
    }
}

fn replay(path: &Path, bed: &Bed, out: Sender<Heard>) -> Result<(), Failure> {
    let mut reader = formats::recording::Reader::new(&files::name(path), files::open(path)?, &bed.setup.deck)?;
    let take = source::made_by(AHEAD, move |give| {
        let mut sample = formats::recording::Sample::default();
        while reader.next_sample(&mut sample).map_err(|problems| problems.to_string())? {
            if give.blocking_send(Ok(sample.clone())).is_err() {
                break;
            }
        }
        Ok(())
    });
    tokio::spawn(source::play(bed.setup.signs_as.clone(), now_us(), take, out));
    Ok(())
}
