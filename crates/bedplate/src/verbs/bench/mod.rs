//! `bench`: the engineer's pages for one deck, on this machine: the workbench, and guided calibration and verification with the
//! deck's link.

mod hearers;
mod virtual_deck;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use formats::deck::Deck;
use formats::recording::Sample;
use link::transport::{Heard, Source};
use web::guide::{Guide, Hands, Start};
use web::proof::{Begin, Proof};

use crate::cli::BenchArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

use super::demo::serve_with;
pub(crate) use hearers::Hearers;
pub(crate) use virtual_deck::VirtualDeck;

/// Messages of the link that may wait.
const WAITING_MOST: usize = 64;
/// Bits a second where none are named.
const BAUD: u32 = 115_200;

pub(crate) fn run(args: &BenchArgs) -> Result<Outcome, Failure> {
    let (deck, text) = (files::read_deck(&args.deck)?, files::read_text(&args.deck)?);
    let mut site = web::Site::default();
    let file = args.deck.file_name().map_or_else(|| "deck.toml".into(), |n| n.to_string_lossy().into_owned());
    let opened = web::workbench::Opened { file, text };
    site.add("/", |reader| web::workbench::page(reader, &opened, web::layout::BENCH));
    site.add("/workbench", |reader| web::workbench::page(reader, &opened, web::layout::BENCH));
    site.add_twin(deck.clone(), scenarios(), web::layout::BENCH);
    let mut guided = None;
    let mut _taken = None;
    if let Some(masses) = &args.masses {
        let folder = args.folder.clone().unwrap_or_else(|| PathBuf::from("."));
        _taken = Some(take(&folder)?);
        let (hearers, source) = guide(args, &deck, masses, &folder)?;
        site.add_guide(&deck.name, Arc::clone(&hearers.guide), web::layout::BENCH);
        site.add_proof(&deck.name, Arc::clone(&hearers.proof), web::layout::BENCH);
        let what =
            if args.calibration.is_some() { "guided verification" } else { "guided calibration, then verification" };
        output::text(&format!("{}: {what}, kept in {}\n", deck.name, folder.display()))?;
        guided = source.map(|source| (source, hearers, deck));
    } else {
        site.add("/guide", |reader| web::guide::without(reader, &deck.name, web::layout::BENCH));
        site.add("/tests", |reader| web::proof::without(reader, &deck.name, web::layout::BENCH));
    }
    serve_with(site, args.port, || {
        if let Some((source, hearers, deck)) = guided {
            let (out, heard) = tokio::sync::mpsc::channel(WAITING_MOST);
            tokio::spawn(link::transport::run(source, 1, out));
            tokio::spawn(listen(heard, hearers, deck));
        }
    })
}

/// The nights that come with the program.
pub(crate) fn scenarios() -> Vec<web::rehearsal::Offered> {
    let offered = |(file, text): (&str, &str)| web::rehearsal::Offered { file: file.into(), text: text.into() };
    let first = ("three_days.toml", twin::demo::SCENARIO_TOML);
    std::iter::once(first).chain(twin::demo::SCENARIOS).map(offered).collect()
}

/// Takes a folder for the run of this process, as long as what it gives lives: two would write over each other's readings.
fn take(folder: &Path) -> Result<std::fs::File, Failure> {
    files::make_folder(folder)?;
    files::take_alone(&folder.join("bench.lock"))?.ok_or_else(|| {
        Failure::Stage(format!("{}: a run is under way in this folder by another process", folder.display()))
    })
}

/// The guided calibration and verification, and the link that their counts come from; a virtual deck needs none.
fn guide(args: &BenchArgs, deck: &Deck, masses: &Path, folder: &Path) -> Result<(Hearers, Option<Source>), Failure> {
    let bodies = formats::masses::read(&files::name(masses), &files::read_text(masses)?)?;
    let source = match (&args.tcp, &args.serial, args.twin) {
        (Some(address), _, _) => Some(Source::Tcp { address: address.clone() }),
        (_, Some(path), _) => Some(Source::Serial { path: path.clone(), baud: args.baud.unwrap_or(BAUD) }),
        (_, _, Some(_)) => None,
        // Clap asks for one of them.
        _ => return Err(Failure::Stage("no link: give --tcp, --serial or --twin".into())),
    };
    let virtual_deck = match (&source, args.twin) {
        (None, Some(seed)) => Some(VirtualDeck::new(deck, seed, args.speed.into())?),
        _ => None,
    };
    let hands = virtual_deck.clone().map(|v| v as Arc<dyn Hands>);
    let guide = Guide::new(Start {
        deck: deck.clone(),
        masses: bodies.clone(),
        kept: kept(folder, web::guide::KEPT_AS)?,
        keep: keep_in(folder),
        now: files::now,
        hands: hands.clone(),
    })
    .map_err(|e| Failure::stage(masses, &e))?;
    let guide = Arc::new(guide);
    let begin = begin(deck, bodies, folder, hands);
    let proof = match &args.calibration {
        Some(path) => Proof::of(begin, files::read_calibration(path, deck)?).map_err(|e| Failure::stage(path, &e))?,
        None => Proof::after(begin, Arc::clone(&guide)),
    };
    let hearers = Hearers { guide, proof: Arc::new(proof) };
    if let Some(deck) = virtual_deck {
        deck.run_for(&hearers);
    }
    Ok((hearers, source))
}

/// What a guided verification in a folder begins from.
pub(crate) fn begin(
    deck: &Deck,
    masses: Vec<formats::masses::Mass>,
    folder: &Path,
    hands: Option<Arc<dyn Hands>>,
) -> Begin {
    let kept_in = folder.to_owned();
    Begin {
        deck: deck.clone(),
        masses,
        kept: Box::new(move || kept(&kept_in, web::proof::KEPT_AS).map_err(|e| e.to_string())),
        keep: Arc::new(keep_in(folder)),
        now: files::now,
        hands,
    }
}

/// What a folder holds of a run under way.
pub(crate) fn kept(folder: &Path, name: &str) -> Result<Option<String>, Failure> {
    let path = folder.join(name);
    match std::fs::read_to_string(&path) {
        Ok(text) => Ok(Some(text)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Failure::read(&path, e)),
    }
}

/// Keeps files in a folder: aside, on the disk, then under their name.
pub(crate) fn keep_in(folder: &Path) -> web::guide::Keep {
    let folder = folder.to_owned();
    Box::new(move |name, text| files::write_text(&folder.join(name), text).map_err(|e| e.to_string()))
}

/// Hands samples on. What comes from a controller with other cells is told once and left alone.
async fn listen(mut heard: tokio::sync::mpsc::Receiver<Heard>, hearers: Hearers, deck: Deck) {
    let n_cells = deck.cells().count();
    let mut is_told = false;
    while let Some(heard) = heard.recv().await {
        match heard {
            Heard::Frames { frames, receipt } => {
                for frame in frames {
                    if frame.counts.len() != n_cells {
                        if !is_told {
                            tracing::error!(
                                found = frame.counts.len(),
                                expected = n_cells,
                                "samples of another deck: other cells"
                            );
                        }
                        is_told = true;
                        continue;
                    }
                    hearers.hear(Sample {
                        t_s: frame.t_ms as f64 / 1e3,
                        temperature_c: frame.temperature_c,
                        // Sections in the order of deck.toml, as in a ward.
                        tilt_deg: frame.tilt_deg,
                        counts: frame.counts.iter().map(|c| c.map(f64::from)).collect(),
                    });
                }
                receipt.kept().await;
            }
            Heard::Down { why, .. } | Heard::Ended { why } => tracing::warn!(why, "link down"),
            Heard::Up | Heard::Rubbish(_) => {}
        }
    }
}
