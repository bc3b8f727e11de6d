//! `ward counts`: what a bed's cells gave, out of the ward's memory into a file.

use formats::minutes::{self, Minute};
use formats::recording::{self, Header, Sample};
use jiff::Timestamp;
use store::entry::Kind;
use store::journal::{self, Query};
use store::readings::{self, LOST_COUNT};
use store::{StoreError, sql};

use crate::cli::CountsArgs;
use crate::failure::Failure;
use crate::files::{self, Aside};
use crate::output::{self, Outcome};
use crate::verbs::serve::{beside, read};
use crate::verbs::ward::memory_of;

/// So much is read at once, µs: an hour of raw counts, a day of minutes.
const COUNTS_AT_ONCE_US: i64 = 3_600_000_000;
const MINUTES_AT_ONCE_US: i64 = 24 * COUNTS_AT_ONCE_US;
/// A block of counts that began so much earlier may reach into what is asked for, µs: it ends with a row of weights, each second, or where the bed
/// gives none after a minute of samples at 10 Hz.
const BLOCK_US: i64 = 60_000_000;

pub(super) fn run(args: &CountsArgs) -> Result<Outcome, Failure> {
    let ward = read(&args.ward)?;
    let Some(bed) = ward.beds.iter().find(|bed| bed.label == args.bed) else {
        let beds: Vec<&str> = ward.beds.iter().map(|bed| bed.label.as_str()).collect();
        return Err(said(args, &format!("no bed `{}`; expected one of {}", args.bed, beds.join(", "))));
    };
    let deck = files::read_deck(&beside(&args.ward, &bed.deck))?;
    let cells: Vec<String> = deck.cells().map(|(_, cell)| cell.name.clone()).collect();
    let mut database = memory_of(&args.ward)?;
    let of_ward = |e: StoreError| Failure::stage(&args.ward, &e);
    // One look for all: what is reduced meanwhile is neither left out nor told twice.
    let mut look = database.look().map_err(of_ward)?;
    let ends = if args.minutes { readings::cell_minutes_us } else { readings::counts_us };
    let ends_us = ends(look.as_mut(), &args.bed).map_err(of_ward)?;
    let asked = asked(args, &cells, ends_us, ward.keep_counts_days)?;
    same_cells(look.as_mut(), args, &asked)?;
    let mut file = Aside::create(&args.output)?;
    let written = if args.minutes {
        cell_minutes(look.as_mut(), args, &asked, &mut file)?
    } else {
        recording(look.as_mut(), args, &asked, &mut file)?
    };
    let Some(written) = written else {
        return Err(said(args, &format!("of bed {} nothing is kept in that time; {}", args.bed, kept(ends_us))));
    };
    file.finish()?;
    output::text(&told(args, cells.len(), &written))?;
    Ok(Outcome::Met)
}

/// What went into the file.
struct Written {
    rows: u64,
    first_us: i64,
    last_us: i64,
    left_out: u64,
}

impl Written {
    fn from(first_us: i64) -> Self {
        Self { rows: 0, first_us, last_us: i64::MIN, left_out: 0 }
    }

    /// Counts a row; whether it stands behind the one before, as the rows of a recording do.
    fn takes(&mut self, at_us: i64) -> bool {
        let is_later = at_us > self.last_us;
        if is_later {
            (self.rows, self.last_us) = (self.rows + 1, at_us);
        } else {
            self.left_out += 1;
        }
        is_later
    }
}

/// What is asked for.
struct Asked<'a> {
    /// Names of the deck's cells.
    cells: &'a [String],
    /// From when on and before when, µs of UTC.
    from_us: i64,
    to_us: i64,
    /// Nothing that is kept begins later.
    last_us: i64,
}

impl Asked<'_> {
    /// The span in parts of `at_once_us`, begin included, end left out; it begins earlier by `earlier_us`.
    fn parts(&self, earlier_us: i64, at_once_us: i64) -> impl Iterator<Item = [i64; 2]> + use<> {
        let end_us = self.to_us.min(self.last_us.saturating_add(1));
        let begins =
            std::iter::successors(Some(self.from_us.saturating_sub(earlier_us)), move |us| us.checked_add(at_once_us));
        begins.take_while(move |us| *us < end_us).map(move |us| [us, us.saturating_add(at_once_us).min(end_us)])
    }
}

fn asked<'a>(
    args: &CountsArgs,
    cells: &'a [String],
    ends_us: Option<[i64; 2]>,
    keep_days: u32,
) -> Result<Asked<'a>, Failure> {
    if let (Some(from), Some(to)) = (args.from, args.to)
        && from >= to
    {
        return Err(said(args, &format!("--from {from} is not before --to {to}")));
    }
    let Some([first_us, last_us]) = ends_us else {
        let bed = &args.bed;
        return Err(said(
            args,
            &if args.minutes {
                format!("of bed {bed} no minutes are kept: its counts are kept raw for {keep_days} days first")
            } else {
                format!(
                    "of bed {bed} no raw counts are kept; what is older than {keep_days} days stays as minutes (--minutes)"
                )
            },
        ));
    };
    let from_us = args.from.map_or(first_us, Timestamp::as_microsecond).max(first_us);
    let to_us = args.to.map_or(i64::MAX, Timestamp::as_microsecond);
    Ok(Asked { cells, from_us, to_us, last_us })
}

fn kept(ends_us: Option<[i64; 2]>) -> String {
    ends_us.map_or_else(String::new, |[first, last]| format!("kept is {} to {}", time(first), time(last)))
}

/// Refuses a span in which a deck with cells of other names, or in another order, was in force: its counts would stand under names that they
/// are not of.
fn same_cells(look: &mut dyn sql::Transaction, args: &CountsArgs, asked: &Asked<'_>) -> Result<(), Failure> {
    let query = Query { chain: Some(args.bed.clone()), kind: Some(Kind::Deck), history: true, ..Query::default() };
    let decks = journal::entries(look, &query).map_err(|e| Failure::stage(&args.ward, &e))?;
    for (place, deck) in decks.iter().enumerate() {
        // The first was in force for whatever came before it was entered.
        let begin_us = if place == 0 { i64::MIN } else { deck.new.at_us };
        let end_us = decks.get(place + 1).map_or(i64::MAX, |next| next.new.at_us);
        let was_in_force = begin_us < asked.to_us && begin_us <= asked.last_us && asked.from_us < end_us;
        // Of one that cannot be read nothing is known but how many cells gave counts.
        if was_in_force
            && let Some(names) = cells_of(&deck.new.body)
            && names != asked.cells
        {
            let bed = &args.bed;
            let what = if end_us == i64::MAX {
                format!("the deck that is in force in bed {bed} has cells of other names than the deck file says")
            } else {
                let until = time(end_us);
                format!(
                    "up to {until} the deck of bed {bed} had cells of other names, or in another order; ask --from {until}"
                )
            };
            return Err(said(args, &what));
        }
    }
    Ok(())
}

/// Names of the cells of a deck on record.
fn cells_of(body: &str) -> Option<Vec<String>> {
    let body: serde_json::Value = serde_json::from_str(body).ok()?;
    let deck = formats::deck::read("deck on record", body["file"].as_str()?).ok()?;
    Some(deck.cells().map(|(_, cell)| cell.name.clone()).collect())
}

fn recording(
    look: &mut dyn sql::Transaction,
    args: &CountsArgs,
    asked: &Asked<'_>,
    file: &mut Aside,
) -> Result<Option<Written>, Failure> {
    let Asked { cells, from_us, to_us, .. } = *asked;
    let cannot = |e| Failure::write(&args.output, e);
    let header = Header { cells: cells.to_vec(), tilts: Vec::new(), has_temperature: false };
    let mut writer = recording::Writer::new(file, &header).map_err(cannot)?;
    let mut written: Option<Written> = None;
    let mut sample = Sample::default();
    for [begin_us, end_us] in asked.parts(BLOCK_US, COUNTS_AT_ONCE_US) {
        let blocks = readings::counts(look, &args.bed, begin_us, end_us).map_err(|e| Failure::stage(&args.ward, &e))?;
        for block in &blocks {
            let is_asked = |at_us: &i64| (from_us..to_us).contains(at_us);
            let Some(&first_us) = block.at_us.iter().find(|at_us| is_asked(at_us)) else { continue };
            let n_found = block.counts.len() / block.at_us.len();
            if n_found != cells.len() {
                let found = format!("{n_found} counts a row at {}", time(first_us));
                return Err(another_deck(args, &found, cells.len()));
            }
            let so_far = written.get_or_insert(Written::from(first_us));
            // Where the clock was set back, two passes of the same time lie beside each other: a block of the other one is left out whole, or the
            // rows of both would alternate.
            if block.at_us[0] <= so_far.last_us {
                so_far.left_out += block.at_us.iter().filter(|at_us| is_asked(at_us)).count() as u64;
                continue;
            }
            let rows = block.at_us.iter().zip(block.counts.chunks(cells.len()));
            for (&at_us, counts) in rows.filter(|(at_us, _)| is_asked(at_us)) {
                if so_far.takes(at_us) {
                    sample.t_s = (at_us - so_far.first_us) as f64 / 1e6;
                    sample.counts.clear();
                    sample.counts.extend(counts.iter().map(|&c| (c != LOST_COUNT).then(|| f64::from(c))));
                    writer.write(&sample).map_err(cannot)?;
                }
            }
        }
    }
    writer.finish().map_err(cannot)?;
    Ok(written)
}

fn cell_minutes(
    look: &mut dyn sql::Transaction,
    args: &CountsArgs,
    asked: &Asked<'_>,
    file: &mut Aside,
) -> Result<Option<Written>, Failure> {
    let cells = asked.cells;
    let cannot = |e| Failure::write(&args.output, e);
    let mut writer = minutes::Writer::new(file).map_err(cannot)?;
    let mut written: Option<Written> = None;
    for [from_us, to_us] in asked.parts(0, MINUTES_AT_ONCE_US) {
        let found =
            readings::cell_minutes(look, &args.bed, from_us, to_us).map_err(|e| Failure::stage(&args.ward, &e))?;
        for minute in found {
            let Some(cell) = usize::try_from(minute.cell).ok().and_then(|cell| cells.get(cell)) else {
                let found = format!("a cell number {} at {}", minute.cell + 1, time(minute.minute_us));
                return Err(another_deck(args, &found, cells.len()));
            };
            let time = Timestamp::from_microsecond(minute.minute_us).unwrap_or_default();
            let readings::CellMinute { samples, least, mean, greatest, .. } = minute;
            writer.write(&Minute { time, cell, samples, least, mean, greatest }).map_err(cannot)?;
            let so_far = written.get_or_insert(Written::from(minute.minute_us));
            (so_far.rows, so_far.last_us) = (so_far.rows + 1, minute.minute_us);
        }
    }
    Ok(written)
}

fn told(args: &CountsArgs, n_cells: usize, written: &Written) -> String {
    let Written { rows, first_us, last_us, left_out } = written;
    let (what, then) = if args.minutes {
        ("minutes", "Least, mean and greatest count of each minute and cell.")
    } else {
        ("rows", "t_s counts from the first row. Angles and temperature are not kept with the counts.")
    };
    let mut text = format!(
        "Bed {}: {rows} {what} of {n_cells} cells, {} to {}, in {}\n{then}\n",
        args.bed,
        time(*first_us),
        time(*last_us),
        args.output.display()
    );
    if *left_out > 0 {
        text += &format!("{left_out} rows were left out: the clock had been set back over them.\n");
    }
    text
}

fn time(us: i64) -> String {
    Timestamp::from_microsecond(us).map_or_else(|_| format!("{us} µs"), |time| time.to_string())
}

fn said(args: &CountsArgs, what: &str) -> Failure {
    Failure::Stage(format!("{}: {what}", args.ward.display()))
}

fn another_deck(args: &CountsArgs, found: &str, n_cells: usize) -> Failure {
    let bed = &args.bed;
    said(
        args,
        &format!("bed {bed} gave {found}, its deck has {n_cells} cells: another deck then; ask --from a later time"),
    )
}
