//! `demo`: every stage in turn on an invented scenario, through the files and verbs that a user would use.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};

use formats::weights::Weight;

use crate::cli::{
    AgreeArgs, BalanceArgs, BalanceMore, CalibrateArgs, CheckArgs, DemoArgs, DocumentLanguage, TwinFilesArgs,
    VerifyArgs, WeighArgs,
};
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};
use crate::verbs::{agree, balance, bench, calibrate, check, twin, verify, weigh};

/// Seconds between the weights that the demo writes: three days stay small.
const EVERY_S: f64 = 60.0;

pub(crate) fn run(args: &DemoArgs) -> Result<Outcome, Failure> {
    let (folder, _disappears) = match &args.dir {
        Some(dir) => {
            files::make_folder(dir)?;
            (dir.clone(), None)
        }
        None => {
            let temporary = tempfile::tempdir().map_err(|e| Failure::write(&std::env::temp_dir(), e))?;
            (temporary.path().to_owned(), Some(temporary))
        }
    };
    output::text(&format!(
        "Bedplate demo: the whole job on an invented deck, ward and patient (seed {}).\nFiles in {}\n",
        args.seed,
        folder.display()
    ))?;
    let site = stages(args, &folder)?;
    if args.no_serve {
        return Ok(Outcome::Met);
    }
    serve(site, args.port)
}

/// Runs the stages one by one, each as a user would type it, and makes its page.
fn stages(args: &DemoArgs, folder: &Path) -> Result<web::Site, Failure> {
    let file = |name: &str| -> PathBuf { folder.join(name) };
    files::write_text(&file("deck.toml"), ::twin::demo::DECK_TOML)?;
    files::write_text(&file("scenario.toml"), ::twin::demo::SCENARIO_TOML)?;
    files::write_text(&file("masses.csv"), MASSES_CSV)?;

    typed("check deck.toml --report check.html")?;
    let (deck, checked) = check::print(&CheckArgs {
        deck: file("deck.toml"),
        report: Some(file("check.html")),
        language: DocumentLanguage::En,
        field: None,
        all: false,
        json: false,
    })?;

    typed(&format!("twin deck.toml --scenario scenario.toml --output . --seed {}", args.seed))?;
    twin::print(&TwinFilesArgs {
        deck: file("deck.toml"),
        output: folder.to_owned(),
        scenario: Some(file("scenario.toml")),
        calibration: None,
        seed: args.seed,
        json: false,
    })?;

    typed("calibrate deck.toml run.csv --output calibration.json")?;
    let calibration = calibrate::print(&CalibrateArgs {
        deck: file("deck.toml"),
        run: file("run.csv"),
        output: Some(file("calibration.json")),
        earlier: None,
        replaced: Vec::new(),
        certificate: None,
        details: None,
        language: DocumentLanguage::En,
        json: false,
    })?;

    typed("verify deck.toml calibration.json tests.csv")?;
    let verified = verify::print(&VerifyArgs {
        deck: file("deck.toml"),
        calibration: file("calibration.json"),
        tests: file("tests.csv"),
        in_service: false,
        report: None,
        language: DocumentLanguage::En,
        json: false,
    })?;

    typed("agree pairs.csv")?;
    let (pairs, agreed) = agree::print(&AgreeArgs {
        pairs: file("pairs.csv"),
        ratio: 1.0,
        proportional: false,
        width: None,
        report: None,
        language: DocumentLanguage::En,
        json: false,
    })?;

    let scenario = ::twin::demo::scenario().map_err(|e| Failure::Stage(e.to_string()))?;
    let start = scenario.start_time().map_err(|e| Failure::Stage(e.to_string()))?;
    typed(&format!(
        "weigh deck.toml calibration.json recording.csv --actions actions.csv --start {start} --every {EVERY_S} --output weights.csv"
    ))?;
    let weighed = weigh::print(&WeighArgs {
        deck: file("deck.toml"),
        calibration: file("calibration.json"),
        recording: Some(file("recording.csv")),
        follow: false,
        state: None,
        actions: Some(file("actions.csv")),
        start: Some(start),
        every: EVERY_S,
        output: Some(file("weights.csv")),
        json: false,
    })?;

    typed("balance patient.toml weights.csv chart.csv")?;
    let (patient, balanced) = balance::print(&BalanceArgs {
        patient: file("patient.toml"),
        weights: file("weights.csv"),
        chart: file("chart.csv"),
        more: BalanceMore::default(),
        json: false,
    })?;

    let weights: Vec<Weight> = formats::weights::read("weights.csv", &files::read_text(&file("weights.csv"))?)?;
    let points: Vec<web::pages::PairPoint> =
        pairs.iter().map(|p| web::pages::PairPoint { reference: p.reference, method: p.method }).collect();
    let mut site = web::Site::default();
    site.add("/", |reader| {
        let stages = web::pages::stages(reader, &checked, &calibration, &verified, &agreed, &weighed, &balanced);
        let invented = web::pages::invented(reader, [&deck.name, &scenario.name, &patient.patient.label], args.seed);
        web::pages::overview(reader, &deck.name, &invented, &stages)
    });
    site.add("/design", |reader| web::pages::design(reader, &deck, &checked));
    site.add("/calibration", |reader| web::pages::calibration(reader, &calibration));
    site.add("/verification", |reader| web::pages::verification(reader, &verified, &points, &agreed));
    site.add("/weight", |reader| web::pages::weight(reader, &patient.patient.label, &weights, &weighed));
    site.add("/balance", |reader| web::pages::balance(reader, &patient.patient.label, &balanced));
    let opened = web::workbench::Opened { file: "deck.toml".into(), text: ::twin::demo::DECK_TOML.into() };
    site.add("/workbench", |reader| web::workbench::page(reader, &opened, &web::layout::PLACES));
    site.add_twin(deck.clone(), bench::scenarios(), &web::layout::PLACES);
    if !args.no_serve {
        let hearers = guided(args, folder, &deck, calibration.clone())?;
        site.add_guide(&deck.name, hearers.guide, &web::layout::PLACES);
        site.add_proof(&deck.name, hearers.proof, &web::layout::PLACES);
    }
    Ok(site)
}

/// How many times as fast as ours the clock of the demo's virtual deck runs: a reading takes about a second.
const BENCH_SPEED: f64 = 8.0;
/// The bodies of the demo's guided calibration; invented.
const MASSES_CSV: &str = "name,mass_kg,u_g,count,about_kg\nblock 20,20,0.6,1,\nblock 10,10,0.3,1,\nwater can,,,1,18\n";
/// The bodies of its guided verification, as a service brings them; invented.
const TEST_MASSES_CSV: &str = "name,mass_kg,u_g,count\nblock 20,20,0.6,9\nblock 10,10,0.3,1\nblock 5,5,0.15,1\nblock 2,2,0.06,2\nblock 1,1,0.03,1\n\
    S100,0.1,0.003,1\nS20,0.02,0.001,2\n";

/// A guided calibration of a virtual deck with invented hands, and the guided verification of the demo's own calibration, whose cells
/// are those of that deck.
fn guided(
    args: &DemoArgs,
    folder: &Path,
    deck: &formats::deck::Deck,
    calibration: formats::calibration::Calibration,
) -> Result<bench::Hearers, Failure> {
    let virtual_deck = bench::VirtualDeck::new(deck, args.seed, BENCH_SPEED)?;
    let folder = folder.join("guided");
    files::make_folder(&folder)?;
    let guide = web::guide::Guide::new(web::guide::Start {
        deck: deck.clone(),
        masses: formats::masses::read("masses.csv", MASSES_CSV)?,
        kept: None,
        keep: bench::keep_in(&folder),
        now: files::now,
        hands: Some(virtual_deck.clone()),
    })
    .map_err(|e| Failure::Stage(e.to_string()))?;
    let masses = formats::masses::read("masses.csv", TEST_MASSES_CSV)?;
    let mut begin = bench::begin(deck, masses, &folder, Some(virtual_deck.clone()));
    // A demo begins anew each time.
    begin.kept = Box::new(|| Ok(None));
    let proof = web::proof::Proof::of(begin, calibration).map_err(|e| Failure::Stage(e.to_string()))?;
    let hearers = bench::Hearers { guide: std::sync::Arc::new(guide), proof: std::sync::Arc::new(proof) };
    virtual_deck.run_for(&hearers);
    Ok(hearers)
}

/// Shows the command that does what follows.
fn typed(command: &str) -> Result<(), Failure> {
    output::text(&format!("\n$ bedplate {command}\n\n"))
}

fn serve(site: web::Site, port: u16) -> Result<Outcome, Failure> {
    serve_with(site, port, || {})
}

/// Serves pages on this machine until Ctrl-C; `begin` runs where tasks can be spawned.
pub(crate) fn serve_with(site: web::Site, port: u16, begin: impl FnOnce()) -> Result<Outcome, Failure> {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let cannot = |e: &dyn std::fmt::Display| {
        Failure::Stage(format!("could not serve pages on {address}: {e}; try --port 0, or --no-serve"))
    };
    let runtime = tokio::runtime::Runtime::new().map_err(|e| cannot(&e))?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(address).await.map_err(|e| cannot(&e))?;
        let bound = listener.local_addr().map_err(|e| cannot(&e))?;
        output::text(&format!("\nPages: http://{bound}/ (on this machine only; Ctrl-C ends)\n"))?;
        begin();
        let stop = async {
            // Without a signal handler the pages are served until the process is ended some other way.
            if tokio::signal::ctrl_c().await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        web::serve(site, listener, stop).await.map_err(|e| cannot(&e))
    })?;
    Ok(Outcome::Met)
}
