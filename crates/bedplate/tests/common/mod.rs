//! Running the built binary as a user would.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// What a run of the binary gave.
pub(crate) struct Ran {
    /// Exit status.
    pub(crate) status: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

/// Runs the binary in `folder`.
pub(crate) fn bedplate(folder: &Path, args: &[&str]) -> Ran {
    let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .current_dir(folder)
        .args(args)
        .output()
        .expect("the binary starts");
    Ran {
        status: status.code().expect("it exits by itself"),
        out: String::from_utf8(stdout).expect("UTF-8"),
        err: String::from_utf8(stderr).expect("UTF-8"),
    }
}

/// Files kept beside the tests.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

/// A copy of a folder of files, to be spoilt.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn copy_of(name: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for entry in std::fs::read_dir(data(name)).expect("the folder is there") {
        let path = entry.expect("an entry").path();
        std::fs::copy(&path, folder.path().join(path.file_name().expect("a name"))).expect("a copy");
    }
    folder
}

/// The JSON document on standard output.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn json(ran: &Ran) -> serde_json::Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("no JSON document ({e}): {}\n{}", ran.out, ran.err))
}
