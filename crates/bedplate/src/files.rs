//! Reading whole files, and writing them aside before they take their name.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};

use formats::Problem;
use formats::calibration::Calibration;
use formats::deck::Deck;

use crate::failure::Failure;

/// The text of a file.
pub(crate) fn read_text(path: &Path) -> Result<String, Failure> {
    let bytes = fs::read(path).map_err(|e| Failure::read(path, e))?;
    String::from_utf8(bytes).map_err(|e| not_utf8(path, &e).into())
}

/// Where the first byte stands that is not UTF-8, as for any other slip of a file.
fn not_utf8(path: &Path, error: &std::string::FromUtf8Error) -> Problem {
    let bytes = error.as_bytes();
    let expected = "UTF-8 (save the file with that encoding)";
    if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
        return Problem::new(&name(path), "text in UTF-16", expected);
    }
    let before = String::from_utf8_lossy(&bytes[..error.utf8_error().valid_up_to()]);
    let begun = before.rsplit('\n').next().unwrap_or_default();
    let line = String::from_utf8_lossy(bytes).lines().nth(before.matches('\n').count()).unwrap_or_default().to_owned();
    let number = before.matches('\n').count() + 1;
    Problem::new(&name(path), "a byte that is not UTF-8", expected)
        .line(number, &line)
        .column(Some(begun.chars().count() + 1))
}

/// A file to be read row by row; `-` is standard input.
pub(crate) fn open(path: &Path) -> Result<BufReader<Box<dyn Read + Send>>, Failure> {
    let source: Box<dyn Read + Send> = if path == Path::new("-") {
        Box::new(io::stdin())
    } else {
        let file = File::open(path).map_err(|e| Failure::read(path, e))?;
        if file.metadata().is_ok_and(|m| m.is_dir()) {
            return Err(Failure::read(path, io::ErrorKind::IsADirectory.into()));
        }
        Box::new(file)
    };
    Ok(BufReader::with_capacity(1 << 18, source))
}

/// How a path is called in messages.
pub(crate) fn name(path: &Path) -> String {
    path.display().to_string()
}

/// A deck.
pub(crate) fn read_deck(path: &Path) -> Result<Deck, Failure> {
    read_deck_with_warnings(path).map(|(deck, _)| deck)
}

/// A deck, and what is allowed but should be looked at, in words.
pub(crate) fn read_deck_with_warnings(path: &Path) -> Result<(Deck, Vec<String>), Failure> {
    let (deck, warnings) = formats::deck::read_with_warnings(&name(path), &read_text(path)?)?;
    let words = warnings.into_iter().map(|problem| Problem { line_text: None, ..problem }.to_string()).collect();
    Ok((deck, words))
}

/// A calibration of that deck.
pub(crate) fn read_calibration(path: &Path, deck: &Deck) -> Result<Calibration, Failure> {
    let file = name(path);
    let calibration = formats::calibration::read(&file, &read_text(path)?)?;
    formats::calibration::check_matches(&calibration, &file, deck)?;
    Ok(calibration)
}

/// A folder, made where it is missing.
pub(crate) fn make_folder(path: &Path) -> Result<(), Failure> {
    fs::create_dir_all(path).map_err(|e| Failure::write(path, e))
}

/// Takes a place for this process alone, as long as what it gives lives; `None` where another one has it. The lock lies in a file of its
/// own: an editor saves another file under the old name, and the lock would stay with the old one.
pub(crate) fn take_alone(lock: &Path) -> Result<Option<File>, Failure> {
    let opened = fs::OpenOptions::new().create(true).append(true).open(lock);
    opened.map(locked).map_err(|e| Failure::write(lock, e))
}

/// The file locked for this process; `None` where another one has it.
pub(crate) fn locked(file: File) -> Option<File> {
    match file.try_lock() {
        Err(fs::TryLockError::WouldBlock) => None,
        // A file system without locks: nothing is known.
        Ok(()) | Err(fs::TryLockError::Error(_)) => Some(file),
    }
}

/// The time now, RFC 3339, in whole seconds.
pub(crate) fn now() -> String {
    let now = jiff::Timestamp::now();
    jiff::Timestamp::from_second(now.as_second()).unwrap_or(now).to_string()
}

/// A file being written under a name of its own beside the target; it takes the target's name when
/// [`Aside::finish`] is called, and disappears when dropped before.
pub(crate) struct Aside {
    target: PathBuf,
    aside: PathBuf,
    writer: Option<BufWriter<File>>,
}

impl Aside {
    /// Begins to write what will be `target`.
    pub(crate) fn create(target: &Path) -> Result<Self, Failure> {
        let mut name = OsString::from(".");
        name.push(target.file_name().unwrap_or_default());
        name.push(format!(".{}.part", std::process::id()));
        let aside = target.with_file_name(name);
        let file = File::create(&aside).map_err(|e| Failure::write(target, e))?;
        Ok(Self { target: target.to_owned(), aside, writer: Some(BufWriter::new(file)) })
    }

    /// Flushes to the disk and takes the name.
    pub(crate) fn finish(mut self) -> Result<(), Failure> {
        let done = match self.writer.take() {
            Some(mut writer) => writer
                .flush()
                .and_then(|()| writer.get_ref().sync_all())
                .and_then(|()| fs::rename(&self.aside, &self.target))
                .and_then(|()| self.keep_name()),
            None => Ok(()),
        };
        done.map_err(|e| {
            // The part is of no use to anyone; that it could not be removed changes nothing.
            let _ = fs::remove_file(&self.aside);
            Failure::write(&self.target, e)
        })
    }
}

impl Aside {
    /// Flushes the folder, so that the new name outlives a power cut as well as what it names. Where folders cannot be opened
    /// for that, the system keeps names by itself or not at all.
    fn keep_name(&self) -> io::Result<()> {
        if cfg!(unix) {
            let folder = self.target.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
            File::open(folder)?.sync_all()?;
        }
        Ok(())
    }
}

impl Write for Aside {
    fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
        match &mut self.writer {
            Some(writer) => writer.write(buf),
            None => Ok(buf.len()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.as_mut().map_or(Ok(()), Write::flush)
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        if self.writer.take().is_some() {
            let _ = fs::remove_file(&self.aside);
        }
    }
}

/// Writes a whole file: aside, then renamed.
pub(crate) fn write_text(path: &Path, text: &str) -> Result<(), Failure> {
    write_bytes(path, text.as_bytes())
}

/// Writes a whole file of any bytes: aside, then renamed.
pub(crate) fn write_bytes(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut file = Aside::create(path)?;
    file.write_all(bytes).map_err(|e| Failure::write(path, e))?;
    file.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_not_finished_leaves_the_old_one_and_no_part() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("weights.csv");
        write_text(&path, "old").unwrap();
        let mut half = Aside::create(&path).unwrap();
        half.write_all(b"ne").unwrap();
        drop(half);
        assert_eq!(fs::read_to_string(&path).unwrap(), "old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        write_text(&path, "new").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "new");
    }

    #[test]
    fn a_missing_file_is_named_with_what_to_do() {
        let failure = read_text(Path::new("no/such/deck.toml")).unwrap_err();
        let text = failure.to_string();
        assert!(text.contains("no/such/deck.toml") && text.contains("check the name"), "{text}");
    }
}
