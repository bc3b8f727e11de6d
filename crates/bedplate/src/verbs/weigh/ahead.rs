//! Reads a recording ahead, on a thread of its own: taking the file apart and weighing what it says cost about the same, and go on side by side.

use std::io::BufRead;
use std::sync::mpsc::{self, Receiver, SyncSender};
use std::thread;

use formats::recording::{Reader, Sample};

use crate::failure::Failure;

/// Samples of a block: as many as make handing over cost nothing, a minute of a deck at 10 Hz.
const BLOCK: usize = 600;
/// Blocks that are read ahead at most: memory stays constant.
const AHEAD: usize = 4;

/// Samples, of which the first so many are read.
type Block = (Vec<Sample>, usize);

/// Gives each sample of the recording to `take`, in their order, until one fails.
pub(super) fn each<R: BufRead + Send>(
    mut reader: Reader<R>,
    mut take: impl FnMut(&Sample) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let (filled, full) = mpsc::sync_channel(AHEAD);
    let (emptied, empty) = mpsc::channel();
    thread::scope(|scope| {
        let reading = scope.spawn(move || read(&mut reader, &filled, &empty));
        let taken = full.iter().try_for_each(|(block, n): Block| {
            block.iter().take(n).try_for_each(&mut take)?;
            // The reader has ended where nobody takes it back.
            let _ = emptied.send(block);
            Ok(())
        });
        // Nothing is taken any more: a reader that waits to hand over ends.
        drop(full);
        let read = reading.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        taken.and(read)
    })
}

fn read<R: BufRead>(
    reader: &mut Reader<R>,
    filled: &SyncSender<Block>,
    empty: &Receiver<Vec<Sample>>,
) -> Result<(), Failure> {
    loop {
        let mut block = empty.try_recv().unwrap_or_else(|_| vec![Sample::default(); BLOCK]);
        let mut n = 0;
        let mut problem = None;
        for sample in &mut block {
            match reader.next_sample(sample) {
                Ok(true) => n += 1,
                Ok(false) => break,
                Err(found) => {
                    problem = Some(found);
                    break;
                }
            }
        }
        let ended = n < BLOCK;
        if filled.send((block, n)).is_err() {
            return Ok(());
        }
        if let Some(found) = problem {
            return Err(found.into());
        }
        if ended {
            return Ok(());
        }
    }
}
