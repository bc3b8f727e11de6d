//! Keeps entries and gives them back.

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::StoreError;
use crate::entry::{Entry, HASH_BYTES, Hash, Kind, NewEntry, START, WITHDRAWN, hash};
use crate::sql::{Field, Row, Transaction, Value};

/// Columns of an entry, in the order of [`entry_of`].
const COLUMNS: &str =
    "e.chain, e.number, e.at_us, e.kept_us, e.kind, e.subject, e.author, e.corrects, e.once, e.body, e.hash";
const INSERTED: [&str; 11] =
    ["chain", "number", "at_us", "kept_us", "kind", "subject", "author", "corrects", "once", "body", "hash"];

/// Where an entry came to stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Its chain.
    pub chain: String,
    /// Its number.
    pub number: i64,
    /// It had been kept before, by the same `once`.
    pub again: bool,
}

/// Which entries to give back. Empty fields ask for all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Query {
    /// Of one chain.
    pub chain: Option<String>,
    /// Of one kind.
    pub kind: Option<Kind>,
    /// About one subject.
    pub subject: Option<String>,
    /// From this time on, microseconds of UTC.
    pub from_us: Option<i64>,
    /// Before this time.
    pub to_us: Option<i64>,
    /// With what was corrected or withdrawn, and the withdrawals.
    pub history: bool,
    /// The newest first.
    pub newest_first: bool,
    /// At most so many.
    pub most: Option<i64>,
}

/// Keeps entries, in their order; where each came to stand. Nothing is kept when one is refused.
///
/// # Errors
/// A correction of what is not there, is of another kind, or was corrected already; a database that refuses.
pub fn append<'a>(
    transaction: &mut dyn Transaction,
    now_us: i64,
    new: impl IntoIterator<Item = &'a NewEntry>,
) -> Result<Vec<Kept>, StoreError> {
    append_naming(transaction, now_us, new.into_iter().map(|entry| (entry, None)))
}

/// As [`append`]; an entry may name the one that it replaces by the `once` of that, where its number was not known yet when
/// the entry was made. Where nothing was kept under that word, it replaces nothing; where that was replaced meanwhile, it replaces
/// what did.
pub(crate) fn append_naming<'a>(
    transaction: &mut dyn Transaction,
    now_us: i64,
    new: impl IntoIterator<Item = (&'a NewEntry, Option<&'a str>)>,
) -> Result<Vec<Kept>, StoreError> {
    let new: Vec<(&NewEntry, Option<&str>)> = new.into_iter().collect();
    // Chains are locked in the order of their names: two writers that want the same ones never wait for each other.
    let mut heads: BTreeMap<&str, Head> = new.iter().map(|(e, _)| (e.chain.as_str(), Head::default())).collect();
    for (name, head) in &mut heads {
        *head = Head::lock(transaction, name)?;
    }
    let mut kept = Vec::with_capacity(new.len());
    let mut coming: Vec<(Cow<'_, NewEntry>, i64)> = Vec::new();
    let mut hashes = Vec::new();
    for (entry, replaces) in new {
        if let Some(once) = &entry.once
            && let Some(number) = number_of(transaction, &entry.chain, once, &coming)?
        {
            kept.push(Kept { chain: entry.chain.clone(), number, again: true });
            continue;
        }
        let replaced = match replaces {
            Some(once) => newest_of(transaction, &entry.chain, once, &coming)?,
            None => None,
        };
        let entry = match replaced {
            Some(_) => Cow::Owned(NewEntry { corrects: replaced, ..entry.clone() }),
            None => Cow::Borrowed(entry),
        };
        if let Some(number) = entry.corrects {
            may_correct(transaction, &entry, number, &coming)?;
        }
        let Some(head) = heads.get_mut(entry.chain.as_str()) else { continue };
        head.number += 1;
        head.hash = hash(&head.hash, head.number, now_us, &entry);
        hashes.push(head.hash);
        kept.push(Kept { chain: entry.chain.clone(), number: head.number, again: false });
        coming.push((entry, head.number));
    }
    let rows = coming.iter().zip(&hashes);
    let fields: Vec<Field<'_>> = rows.flat_map(|((e, number), hash)| row_of(e, *number, now_us, hash)).collect();
    transaction.insert("entry", &INSERTED, &fields)?;
    for (name, head) in &heads {
        head.move_to(transaction, name)?;
    }
    Ok(kept)
}

/// Hands the entries that a query asks for to `each`, in the order of their time, in constant memory.
///
/// # Errors
/// A database that refuses, or an error of `each`.
pub fn each(
    transaction: &mut dyn Transaction,
    query: &Query,
    each: &mut dyn FnMut(Entry) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let (question, values) = question(query);
    transaction.each(&question, &values, &mut |row| each(entry_of(&row)?))
}

/// The entries that a query asks for.
///
/// # Errors
/// A database that refuses.
pub fn entries(transaction: &mut dyn Transaction, query: &Query) -> Result<Vec<Entry>, StoreError> {
    let mut found = Vec::new();
    each(transaction, query, &mut |entry| {
        found.push(entry);
        Ok(())
    })?;
    Ok(found)
}

/// The newest entry in force of a chain and kind: the calibration, the admission, the state.
///
/// # Errors
/// A database that refuses.
pub fn newest(transaction: &mut dyn Transaction, chain: &str, kind: Kind) -> Result<Option<Entry>, StoreError> {
    let query = Query {
        chain: Some(chain.to_owned()),
        kind: Some(kind),
        newest_first: true,
        most: Some(1),
        ..Query::default()
    };
    Ok(entries(transaction, &query)?.pop())
}

fn question(query: &Query) -> (String, Vec<Value>) {
    let mut terms = Vec::new();
    let mut values = Vec::new();
    let mut term = |text: &str, value: Option<Value>| {
        if let Some(value) = value {
            values.push(value);
            terms.push(format!("{text} ${}", values.len()));
        }
    };
    term("e.chain =", query.chain.clone().map(Value::Text));
    term("e.kind =", query.kind.map(|k| Value::Text(k.word().to_owned())));
    term("e.subject =", query.subject.clone().map(Value::Text));
    term("e.at_us >=", query.from_us.map(Value::Int));
    term("e.at_us <", query.to_us.map(Value::Int));
    if !query.history {
        terms.push(format!("e.body <> '{WITHDRAWN}'"));
        terms.push("not exists (select 1 from entry c where c.chain = e.chain and c.corrects = e.number)".to_owned());
    }
    let wanted = if terms.is_empty() { String::new() } else { format!(" where {}", terms.join(" and ")) };
    let way = if query.newest_first { "desc" } else { "asc" };
    let most = query.most.map_or_else(String::new, |most| format!(" limit {most}"));
    let order = format!("order by e.at_us {way}, e.chain {way}, e.number {way}");
    (format!("select {COLUMNS} from entry e{wanted} {order}{most}"), values)
}

/// The end of a chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Head {
    number: i64,
    hash: Hash,
}

impl Default for Head {
    fn default() -> Self {
        Self { number: 0, hash: START }
    }
}

impl Head {
    /// The end of a chain, which no other writer moves until the transaction ends.
    fn lock(transaction: &mut dyn Transaction, name: &str) -> Result<Self, StoreError> {
        let value = [Value::Text(name.to_owned())];
        // A row that was updated is locked in either database; an unchanged value is update enough.
        let question = "update chain set number = number where name = $1 returning number, hash";
        let rows = transaction.rows(question, &value)?;
        if let Some(row) = rows.first() {
            return Ok(Self { number: row.int(0)?, hash: hash_of(row.bytes(1)?, || end_of(name))? });
        }
        let row = [Field::Text(name), Field::Int(0), Field::Bytes(&START)];
        transaction.insert("chain", &["name", "number", "hash"], &row)?;
        Ok(Self::default())
    }

    fn move_to(self, transaction: &mut dyn Transaction, name: &str) -> Result<(), StoreError> {
        let values = [Value::Text(name.to_owned()), Value::Int(self.number), Value::Bytes(self.hash.to_vec())];
        transaction.run("update chain set number = $2, hash = $3 where name = $1", &values)?;
        Ok(())
    }
}

/// The number under which an act was kept before, or is about to be.
fn number_of(
    transaction: &mut dyn Transaction,
    chain: &str,
    once: &str,
    coming: &[(Cow<'_, NewEntry>, i64)],
) -> Result<Option<i64>, StoreError> {
    if let Some((_, number)) = coming.iter().find(|(e, _)| e.chain == chain && e.once.as_deref() == Some(once)) {
        return Ok(Some(*number));
    }
    let values = [Value::Text(chain.to_owned()), Value::Text(once.to_owned())];
    let rows = transaction.rows("select number from entry where chain = $1 and once = $2", &values)?;
    rows.first().map(|row| row.int(0)).transpose()
}

/// The number of what stands now in the place of what was kept under a mark.
fn newest_of(
    transaction: &mut dyn Transaction,
    chain: &str,
    once: &str,
    coming: &[(Cow<'_, NewEntry>, i64)],
) -> Result<Option<i64>, StoreError> {
    let Some(mut number) = number_of(transaction, chain, once, coming)? else { return Ok(None) };
    while let Some(later) = correction_of(transaction, chain, number, coming)? {
        number = later;
    }
    Ok(Some(number))
}

/// The number of the entry that corrects another.
fn correction_of(
    transaction: &mut dyn Transaction,
    chain: &str,
    number: i64,
    coming: &[(Cow<'_, NewEntry>, i64)],
) -> Result<Option<i64>, StoreError> {
    if let Some((_, later)) = coming.iter().find(|(e, _)| e.chain == chain && e.corrects == Some(number)) {
        return Ok(Some(*later));
    }
    let values = [Value::Text(chain.to_owned()), Value::Int(number)];
    let rows = transaction.rows("select number from entry where chain = $1 and corrects = $2", &values)?;
    rows.first().map(|row| row.int(0)).transpose()
}

fn may_correct(
    transaction: &mut dyn Transaction,
    entry: &NewEntry,
    number: i64,
    coming: &[(Cow<'_, NewEntry>, i64)],
) -> Result<(), StoreError> {
    let refuse = |why| Err(StoreError::Correction { chain: entry.chain.clone(), number, why });
    let values = [Value::Text(entry.chain.clone()), Value::Int(number)];
    let here = |(e, n): &&(Cow<'_, NewEntry>, i64)| e.chain == entry.chain && *n == number;
    let kind = match coming.iter().find(here) {
        Some((e, _)) => Some(e.kind.word().to_owned()),
        None => {
            let rows = transaction.rows("select kind from entry where chain = $1 and number = $2", &values)?;
            rows.first().map(|row| row.text(0)).transpose()?
        }
    };
    match kind {
        None => return refuse("there is no such entry"),
        Some(kind) if kind != entry.kind.word() => return refuse("it is of another kind"),
        Some(_) => {}
    }
    if correction_of(transaction, &entry.chain, number, coming)?.is_some() {
        return refuse("it was corrected before; correct the correction");
    }
    Ok(())
}

fn row_of<'a>(entry: &'a NewEntry, number: i64, kept_us: i64, hash: &'a Hash) -> [Field<'a>; INSERTED.len()] {
    [
        Field::Text(&entry.chain),
        Field::Int(number),
        Field::Int(entry.at_us),
        Field::Int(kept_us),
        Field::Text(entry.kind.word()),
        Field::Text(&entry.subject),
        Field::Text(&entry.author),
        entry.corrects.map_or(Field::Null, Field::Int),
        entry.once.as_deref().map_or(Field::Null, Field::Text),
        Field::Text(&entry.body),
        Field::Bytes(hash),
    ]
}

fn entry_of(row: &Row) -> Result<Entry, StoreError> {
    let (chain, number, word) = (row.text(0)?, row.int(1)?, row.text(4)?);
    let own = || format!("entry {number} of {chain:?}");
    let kind = Kind::of(&word).ok_or_else(|| StoreError::Form {
        what: format!("{} of the kind {word:?}", own()),
        expected: "a kind of entry",
    })?;
    let once = match row.0.get(8) {
        Some(Value::Null) => None,
        _ => Some(row.text(8)?),
    };
    let hash = hash_of(row.bytes(10)?, own)?;
    Ok(Entry {
        number,
        kept_us: row.int(3)?,
        new: NewEntry {
            chain,
            at_us: row.int(2)?,
            kind,
            subject: row.text(5)?,
            author: row.text(6)?,
            corrects: row.int_opt(7)?,
            once,
            body: row.text(9)?,
        },
        hash,
    })
}

fn hash_of(bytes: Vec<u8>, of: impl FnOnce() -> String) -> Result<Hash, StoreError> {
    <Hash>::try_from(bytes).map_err(|bytes| StoreError::Form {
        what: format!("{} with {} bytes for a hash of {HASH_BYTES}", of(), bytes.len()),
        expected: "a hash",
    })
}

fn end_of(chain: &str) -> String {
    format!("the end of {chain:?}")
}

/// Every entry of a chain, in the order of its numbers: for the audit and for a backup.
///
/// # Errors
/// A database that refuses, or an error of `each`.
pub fn chain(
    transaction: &mut dyn Transaction,
    name: &str,
    each: &mut dyn FnMut(Entry) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let question = format!("select {COLUMNS} from entry e where e.chain = $1 order by e.number");
    transaction.each(&question, &[Value::Text(name.to_owned())], &mut |row| each(entry_of(&row)?))
}

/// A chain's name, number and hash of its last entry, or why what stands there is no hash.
pub type ChainEnd = (String, i64, Result<Hash, StoreError>);

/// The chains and their ends.
///
/// # Errors
/// A database that refuses.
pub fn chains(transaction: &mut dyn Transaction) -> Result<Vec<ChainEnd>, StoreError> {
    let rows = transaction.rows("select name, number, hash from chain order by name", &[])?;
    let end = |row: &Row| {
        let name = row.text(0)?;
        let hash = row.bytes(2).and_then(|bytes| hash_of(bytes, || end_of(&name)));
        Ok((name, row.int(1)?, hash))
    };
    rows.iter().map(end).collect()
}
