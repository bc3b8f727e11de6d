//! Bytes to lines, however the bytes are cut.

use crate::line::LINE_BYTES_MOST;

/// A line end of two bytes may follow the longest line.
const HELD_MOST: usize = LINE_BYTES_MOST + 2;

/// Gathers bytes to lines in constant memory. A line that is too long is given once, cut, so that its reader refuses it;
/// what follows until its end is dropped.
#[derive(Debug, Default)]
pub struct Splitter {
    held: Vec<u8>,
    too_long: bool,
}

impl Splitter {
    /// Takes bytes and hands every line that they complete to `each`, without its line feed.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(&[u8])) {
        for &byte in bytes {
            if byte == b'\n' {
                if !self.too_long {
                    each(&self.held);
                }
                self.held.clear();
                self.too_long = false;
            } else if !self.too_long {
                self.held.push(byte);
                if self.held.len() >= HELD_MOST {
                    each(&self.held);
                    self.held.clear();
                    self.too_long = true;
                }
            }
        }
    }

    /// Forgets a line that was begun: the connection is a new one.
    pub fn restart(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines(pieces: &[&[u8]]) -> Vec<Vec<u8>> {
        let mut found = Vec::new();
        let mut splitter = Splitter::default();
        for piece in pieces {
            splitter.push(piece, |line| found.push(line.to_vec()));
        }
        found
    }

    #[test]
    fn a_line_that_never_ends_takes_constant_memory_and_the_next_one_is_whole() {
        let endless = vec![b'x'; 1_000_000];
        let found = lines(&[&endless, b"\ngood\nhalf"]);
        assert_eq!(found.len(), 2);
        assert!(found[0].len() <= HELD_MOST && found[0].len() > LINE_BYTES_MOST);
        assert_eq!(found[1], b"good");
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(91), ..ProptestConfig::default() })]

        #[test]
        fn it_does_not_matter_where_bytes_are_cut(bytes in proptest::collection::vec(prop_oneof![Just(b'\n'), any::<u8>()], 0..300), cut in 0..300_usize) {
            let cut = cut.min(bytes.len());
            prop_assert_eq!(lines(&[&bytes]), lines(&[&bytes[..cut], &bytes[cut..]]));
        }
    }
}
