//! A small invented ward in a folder of its own.

use std::fs;
use std::path::Path;

use crate::common::bedplate;

pub(crate) const WARD: &str = "[ward]\nname = \"Alder ward (invented)\"\nmemory = \"ward.db\"\nlisten = \"127.0.0.1:0\"\ntime_zone = \"Europe/Oslo\"\n\
    [[bed]]\nlabel = \"A1\"\ndeck = \"deck.toml\"\ncalibration = \"calibration.json\"\nsigns_as = \"alder-1\"\nlink = \"twin\"\n\
    scenario = \"scenario.toml\"\nseed = 3\n";
/// A short invented night: the patient comes after some minutes.
const NIGHT: &str = "name = \"a short night\"\nhours = 12.0\nrate_hz = 10.0\nstart = \"2031-03-04T18:00:00Z\"\n";

/// A folder with an invented ward.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn ward() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    fs::write(path.join("deck.toml"), twin::demo::DECK_TOML).unwrap();
    fs::write(path.join("scenario.toml"), NIGHT).unwrap();
    fs::write(path.join("ward.toml"), WARD).unwrap();
    let made =
        bedplate(path, &["twin", "deck.toml", "--scenario", "scenario.toml", "--output", "bench", "--seed", "3"]);
    assert_eq!(made.status, 0, "{}", made.err);
    let found = bedplate(path, &["calibrate", "deck.toml", "bench/run.csv", "--output", "calibration.json"]);
    assert_eq!(found.status, 0, "{}", found.err);
    folder
}

/// A ward of more beds than a page holds; none of them is heard from.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn large_ward(folder: &Path, beds: usize) {
    let (head, bed) = WARD.split_once("[[bed]]").unwrap();
    let bed = bed.replace("link = \"twin\"", "link = \"tcp\"\naddress = \"127.0.0.1:9\"");
    let bed: String = bed
        .lines()
        .filter(|l| !l.starts_with("scenario") && !l.starts_with("seed"))
        .fold(String::new(), |all, l| all + l + "\n");
    let beds = (1..=beds).map(|n| {
        format!("[[bed]]{}", bed.replace("\"A1\"", &format!("\"A{n}\"")).replace("alder-1", &format!("alder-{n}")))
    });
    fs::write(folder.join("ward.toml"), head.to_owned() + &beds.collect::<String>()).unwrap();
}
