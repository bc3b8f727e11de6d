//! Walks the chains and says where one is broken.
//!
//! A changed field, a removed or inserted entry, or an exchanged order breaks a hash or leaves a gap. Who can write to the
//! tables can also write every later hash anew; so the ends of the chains are given out ([`Audit::ends`]), to be kept
//! elsewhere, and an audit against ends noted earlier shows that too, and a tail that was cut off.

use crate::StoreError;
use crate::entry::{Hash, START, hash};
use crate::journal;
use crate::sql::Transaction;

/// The end of a chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct End {
    /// Its name.
    pub chain: String,
    /// Number of the last entry.
    pub number: i64,
    /// Hash of the last entry.
    pub hash: Hash,
}

/// Where a chain is broken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Break {
    /// Its name.
    pub chain: String,
    /// The first entry that does not fit.
    pub number: i64,
    /// What is wrong, in a sentence's part.
    pub what: String,
}

/// What a walk found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Audit {
    /// Entries walked.
    pub entries: u64,
    /// The first break of each chain that has one.
    pub breaks: Vec<Break>,
    /// The ends of all chains.
    pub ends: Vec<End>,
}

/// Walks all chains, and compares them with ends that were noted earlier.
///
/// # Errors
/// A database that refuses. What is broken is no error: it is in the answer.
pub fn audit(transaction: &mut dyn Transaction, noted: &[End]) -> Result<Audit, StoreError> {
    let mut found = Audit::default();
    let chains = journal::chains(transaction)?;
    for (name, number, end) in chains {
        let walk = walk(transaction, &name, noted)?;
        found.entries += walk.entries;
        let first = walk.first_break.or_else(|| {
            let what = match end {
                Ok(end) if walk.number == number && walk.hash == end => return None,
                Ok(_) => format!("the chain was left at entry {number}, and its entries end with {}", walk.number),
                Err(error) => error.to_string(),
            };
            Some(Break { chain: name.clone(), number: walk.number + 1, what })
        });
        found.breaks.extend(first);
        found.ends.push(End { chain: name, number: walk.number, hash: walk.hash });
    }
    for end in noted.iter().filter(|end| !found.ends.iter().any(|e| e.chain == end.chain)) {
        let what = format!("the whole chain is gone; it had {} entries", end.number);
        found.breaks.push(Break { chain: end.chain.clone(), number: 1, what });
    }
    // Entries of a chain that has no end: put in from outside.
    for row in transaction.rows("select distinct chain from entry where chain not in (select name from chain)", &[])? {
        let what = "entries stand in a chain that was never begun".to_owned();
        found.breaks.push(Break { chain: row.text(0)?, number: 1, what });
    }
    Ok(found)
}

struct Walk {
    entries: u64,
    number: i64,
    hash: Hash,
    first_break: Option<Break>,
}

fn walk(transaction: &mut dyn Transaction, name: &str, noted: &[End]) -> Result<Walk, StoreError> {
    let mut walk = Walk { entries: 0, number: 0, hash: START, first_break: None };
    let noted = noted.iter().find(|end| end.chain == name);
    let walked = journal::chain(transaction, name, &mut |entry| {
        walk.entries += 1;
        let expected = hash(&walk.hash, entry.number, entry.kept_us, &entry.new);
        let what = if entry.number != walk.number + 1 {
            Some(format!("entry {} follows entry {}", entry.number, walk.number))
        } else if expected != entry.hash {
            Some("its content does not fit its hash, or the entry before it was changed".to_owned())
        } else if noted.is_some_and(|end| end.number == entry.number && end.hash != entry.hash) {
            Some("it is not the entry that stood here when its end was noted".to_owned())
        } else {
            None
        };
        if let (Some(what), None) = (what, &walk.first_break) {
            walk.first_break = Some(Break { chain: name.to_owned(), number: entry.number, what });
        }
        walk.number = entry.number;
        walk.hash = entry.hash;
        Ok(())
    });
    match walked {
        // What stands there is no entry any more: the first break, behind which nothing can be said of this chain.
        Err(error @ StoreError::Form { .. }) => {
            let (number, what) = (walk.number + 1, error.to_string());
            walk.first_break.get_or_insert(Break { chain: name.to_owned(), number, what });
        }
        walked => walked?,
    }
    if let (Some(end), None) = (noted.filter(|end| end.number > walk.number), &walk.first_break) {
        let what = format!("its end was noted at entry {}, and its entries end with {}", end.number, walk.number);
        walk.first_break = Some(Break { chain: name.to_owned(), number: walk.number + 1, what });
    }
    Ok(walk)
}
