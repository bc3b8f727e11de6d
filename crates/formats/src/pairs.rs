//! `pairs.csv`: two methods on the same subjects, `subject,reference,method[,repeat,operator,u_reference,u_method]`.
//!
//! `u_reference` and `u_method` are standard uncertainties of each pair's values, in the same unit, where they are known: stated in every
//! row they weigh the pairs in a line with errors in both.

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
    /// Standard uncertainty of the reference's value, where given.
    pub u_reference: Option<f64>,
    /// Standard uncertainty of the method's value, where given.
    pub u_method: Option<f64>,
}

/// Reads pairs.
///
/// # Errors
/// Missing columns, a pair without its subject, numbers that are none.
pub fn read(file: &str, text: &str) -> Result<Vec<Pair>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [subject, reference, method] = table.required(["subject", "reference", "method"])?;
    let (repeat, operator) = (table.optional("repeat"), table.optional("operator"));
    let (u_reference, u_method) = (table.optional("u_reference"), table.optional("u_method"));
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
            u_reference: table.number_opt(u_reference, &Limits::POSITIVE),
            u_method: table.number_opt(u_method, &Limits::POSITIVE),
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
    let uncertain = |name, of: fn(&Pair) -> Option<f64>| (pairs.iter().any(|p| of(p).is_some()), name, of);
    let uncertain = [uncertain("u_reference", |p| p.u_reference), uncertain("u_method", |p| p.u_method)];
    let given = optional.iter().filter(|(with, _)| *with).map(|(_, name)| *name);
    let stated = uncertain.iter().filter(|(with, ..)| *with).map(|(_, name, _)| *name);
    out.row(["subject", "reference", "method"].into_iter().chain(given).chain(stated));
    for pair in pairs {
        out.field(&pair.subject);
        out.number(pair.reference);
        out.number(pair.method);
        for (with, text) in [(with_repeat, &pair.repeat), (with_operator, &pair.operator)] {
            if with {
                out.field(text.as_deref().unwrap_or_default());
            }
        }
        for (with, _, of) in &uncertain {
            if *with {
                out.number_opt(of(pair));
            }
        }
        out.end_row();
    }
    out.finish()
}
