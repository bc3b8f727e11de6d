//! `tests.csv`: metrological tests of a calibrated deck.

use crate::deck::Deck;
use crate::limits::Limits;
use crate::run::TEMPERATURE_C;
use crate::table::Table;
use crate::{Problems, csv_writer, placement, words};

/// One reading of one test.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// Line of the file, from 1.
    pub line: usize,
    /// Which test.
    pub kind: TestKind,
    /// The `step` column as written.
    pub step: String,
    /// Plate, where the load lay on one.
    pub plate: Option<String>,
    /// Place on the plate, mm.
    pub at_mm: Option<[f64; 2]>,
    /// Load, kg (conventional mass).
    pub load_kg: f64,
    /// What the deck showed, kg.
    pub indication_kg: f64,
    /// Small load at which the indication changed over, g.
    pub added_g: Option<f64>,
    /// Time under load, min.
    pub minutes: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Tilt, °.
    pub tilt_deg: Option<f64>,
}

/// Kind of test, by the words of OIML R 76-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TestKind {
    /// Loads over the range.
    Weighing,
    /// One load on each support.
    Eccentricity,
    /// One load many times.
    Repeatability,
    /// A small load more must show.
    Discrimination,
    /// Zero setting.
    Zero,
    /// Tare setting.
    Tare,
    /// A load left lying.
    Creep,
    /// Zero after a load.
    ZeroReturn,
    /// At an angle.
    Tilt,
    /// Warm and cold.
    Temperature,
}

const WORDS: &words::Words<TestKind> = &[
    ("weighing", TestKind::Weighing),
    ("eccentricity", TestKind::Eccentricity),
    ("repeatability", TestKind::Repeatability),
    ("discrimination", TestKind::Discrimination),
    ("zero", TestKind::Zero),
    ("tare", TestKind::Tare),
    ("creep", TestKind::Creep),
    ("zero_return", TestKind::ZeroReturn),
    ("tilt", TestKind::Tilt),
    ("temperature", TestKind::Temperature),
];

impl TestKind {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        words::word(WORDS, &self)
    }
}

/// Columns that may be absent.
struct Optional {
    step: Option<usize>,
    place: placement::Columns,
    added_g: Option<usize>,
    minutes: Option<usize>,
    temperature_c: Option<usize>,
    tilt_deg: Option<usize>,
}

/// Reads tests of a deck.
///
/// # Errors
/// Missing columns, words that are no test, numbers that are none, plates that the deck does not have, places beside
/// their plate, and a test without the quantity that it is about (minutes, temperature, tilt).
pub fn read(file: &str, text: &str, deck: &Deck) -> Result<Vec<Test>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [test, load_kg, indication_kg] = table.required(["test", "load_kg", "indication_kg"])?;
    let optional = Optional {
        step: table.optional("step"),
        place: placement::Columns {
            plate: table.optional("plate"),
            x_mm: table.optional("x_mm"),
            y_mm: table.optional("y_mm"),
        },
        added_g: table.optional("added_g"),
        minutes: table.optional("minutes"),
        temperature_c: table.optional("temperature_C"),
        tilt_deg: table.optional("tilt_deg"),
    };
    let mut tests = Vec::new();
    while table.next_row()? {
        let kind = table.word(test, WORDS);
        let load_kg = table.number(load_kg, &Limits::NOT_NEGATIVE);
        let indication_kg = table.number(indication_kg, &Limits::ANY);
        if let Some(test) = read_rest(&mut table, &optional, deck, kind, load_kg, indication_kg) {
            tests.push(test);
        }
    }
    table.check()?;
    Ok(tests)
}

fn read_rest(
    table: &mut Table<&[u8]>,
    optional: &Optional,
    deck: &Deck,
    kind: Option<TestKind>,
    load_kg: f64,
    indication_kg: f64,
) -> Option<Test> {
    let (plate, at_mm) = read_place(table, &optional.place, deck);
    let test = Test {
        line: table.line(),
        kind: kind?,
        step: table.text(optional.step).to_owned(),
        plate,
        at_mm,
        load_kg,
        indication_kg,
        added_g: table.number_opt(optional.added_g, &Limits::NOT_NEGATIVE),
        minutes: table.number_opt(optional.minutes, &Limits::NOT_NEGATIVE),
        temperature_c: table.number_opt(optional.temperature_c, &TEMPERATURE_C),
        tilt_deg: table.number_opt(optional.tilt_deg, &Limits::between(-89.0, 89.0)),
    };
    let needed = match test.kind {
        TestKind::Creep => Some((optional.minutes, test.minutes, "minutes")),
        TestKind::Temperature => Some((optional.temperature_c, test.temperature_c, "temperature_C")),
        TestKind::Tilt => Some((optional.tilt_deg, test.tilt_deg, "tilt_deg")),
        _ => None,
    };
    if let Some((column, None, name)) = needed {
        table.problem(column, "nothing", format!("a value in `{name}`, which a test of {} is about", test.kind.word()));
    }
    Some(test)
}

/// A plate may be named without a place on it, but no place without a plate.
fn read_place(
    table: &mut Table<&[u8]>,
    columns: &placement::Columns,
    deck: &Deck,
) -> (Option<String>, Option<[f64; 2]>) {
    let given = |column| !table.text(column).is_empty();
    let (has_plate, has_x, has_y) = (given(columns.plate), given(columns.x_mm), given(columns.y_mm));
    if has_plate && (has_x || has_y) {
        let place = placement::read(table, columns, deck);
        return (place.as_ref().map(|p| p.plate.clone()), place.map(|p| [p.x_mm, p.y_mm]));
    }
    if has_x || has_y {
        table.problem(columns.plate, "nothing", "the plate that the place is on");
    }
    (placement::plate_name(table, columns.plate, deck), None)
}

/// The tests as text; [`read`] gives them back.
#[must_use]
pub fn write(tests: &[Test]) -> String {
    let mut out = csv_writer::Rows::new();
    out.row([
        "test",
        "step",
        "plate",
        "x_mm",
        "y_mm",
        "load_kg",
        "indication_kg",
        "added_g",
        "minutes",
        "temperature_C",
        "tilt_deg",
    ]);
    for test in tests {
        out.field(test.kind.word());
        out.field(&test.step);
        out.field(test.plate.as_deref().unwrap_or_default());
        out.number_opt(test.at_mm.map(|at| at[0]));
        out.number_opt(test.at_mm.map(|at| at[1]));
        out.number(test.load_kg);
        out.number(test.indication_kg);
        for value in [test.added_g, test.minutes, test.temperature_c, test.tilt_deg] {
            out.number_opt(value);
        }
        out.end_row();
    }
    out.finish()
}
