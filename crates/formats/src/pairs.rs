//! `pairs.csv`: two methods on the same subjects.

use crate::limits::Limits;
use crate::table::Table;
use crate::{Problems, csv_writer};

/// One pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Line of the file, from 1.
    pub line: usize,
    /// Subject, as written.
    pub subject: String,
    /// The reference method.
    pub reference: f64,
    /// The method under test.
    pub method: f64,
    /// Which repeat, where given.
    pub repeat: Option<String>,
    /// Who measured, where given.
    pub operator: Option<String>,
}

/// Reads pairs.
///
/// # Errors
/// Missing columns, a pair without its subject, numbers that are none.
pub fn read(file: &str, text: &str) -> Result<Vec<Pair>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [subject, reference, method] = table.required(["subject", "reference", "method"])?;
    let (repeat, operator) = (table.optional("repeat"), table.optional("operator"));
    let mut pairs = Vec::new();
    while table.next_row()? {
        if table.text(Some(subject)).is_empty() {
            table.problem(Some(subject), "nothing", "which subject was measured");
        }
        let pair = Pair {
            line: table.line(),
            subject: table.text(Some(subject)).to_owned(),
            reference: table.number(reference, &Limits::ANY),
            method: table.number(method, &Limits::ANY),
            repeat: table.text_opt(repeat),
            operator: table.text_opt(operator),
        };
        pairs.push(pair);
    }
    table.check()?;
    Ok(pairs)
}

/// The pairs as text; [`read`] gives them back.
#[must_use]
pub fn write(pairs: &[Pair]) -> String {
    let with_repeat = pairs.iter().any(|p| p.repeat.is_some());
    let with_operator = pairs.iter().any(|p| p.operator.is_some());
    let mut out = csv_writer::Rows::new();
    let optional = [(with_repeat, "repeat"), (with_operator, "operator")];
    let given = optional.iter().filter(|(with, _)| *with).map(|(_, name)| *name);
    out.row(["subject", "reference", "method"].into_iter().chain(given));
    for pair in pairs {
        out.field(&pair.subject);
        out.number(pair.reference);
        out.number(pair.method);
        for (with, text) in [(with_repeat, &pair.repeat), (with_operator, &pair.operator)] {
            if with {
                out.field(text.as_deref().unwrap_or_default());
            }
        }
        out.end_row();
    }
    out.finish()
}
