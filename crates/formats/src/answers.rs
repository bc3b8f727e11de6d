//! `answers.csv`: what was said to alerts of the balance, `time,kind,answer[,by]`.
//!
//! `time` and `kind` are those of the alert, as it was printed; an alert that is answered is not raised again.

use jiff::Timestamp;

use crate::Problems;
use crate::table::Table;

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Answered {
    /// Line of the file, from 1.
    pub line: usize,
    /// Time of the alert.
    pub time: Timestamp,
    /// Its kind.
    pub kind: String,
    /// What was said.
    pub answer: String,
    /// Who said it, as a local mark.
    pub by: String,
}

/// Reads the answers, in the order of the file.
///
/// # Errors
/// Missing columns, times that are not RFC 3339 or lack their zone, an empty kind or answer.
pub fn read(file: &str, text: &str) -> Result<Vec<Answered>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [time, kind, answer] = table.required(["time", "kind", "answer"])?;
    let by = table.optional("by");
    let mut answers = Vec::new();
    while table.next_row()? {
        let line = table.line();
        for (column, expected) in [(kind, "the kind of the alert"), (answer, "what was found or done")] {
            if table.text(Some(column)).is_empty() {
                table.problem(Some(column), "nothing", expected);
            }
        }
        let of = |column| table.text(Some(column)).to_owned();
        let (kind, answer, by) = (of(kind), of(answer), table.text(by).to_owned());
        let Some(time) = table.time(time) else { continue };
        answers.push(Answered { line, time, kind, answer, by });
    }
    table.check()?;
    Ok(answers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_read_and_an_empty_one_is_refused() {
        let text = "time,kind,answer,by\n2031-03-05T22:00:00Z,unexplained-loss,drain bag had leaked,N7\n";
        let answers = read("answers.csv", text).unwrap();
        assert_eq!((answers[0].kind.as_str(), answers[0].by.as_str()), ("unexplained-loss", "N7"));
        let empty = "time,kind,answer\n2031-03-05T22:00:00Z,step,\n";
        assert!(read("answers.csv", empty).unwrap_err().to_string().contains("answers.csv:2"));
    }
}
